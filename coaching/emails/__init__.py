"""E-mail: one function per e-mail over one door, and the loop that empties the outbox."""

import contextlib
import smtplib
from dataclasses import dataclass
from datetime import datetime, timedelta

import structlog
from django.core.mail import get_connection
from django.core.mail.backends.base import BaseEmailBackend

from coaching.budget import Budget
from coaching.emails.doors import invitation_mail, reset_mail
from coaching.emails.message import NothingToTellError
from coaching.emails.morning import morning_mail
from coaching.emails.urgent import urgent_mail
from coaching.installation import may_send
from coaching.models import MailKind, MailRow, MailState
from coaching.models.scope import within_practice
from coaching.operations.mail import claim_due, count_waiting, is_any_due
from coaching.operations.outbox_rows import Failure, mark_failed, mark_sent
from coaching.operations.password_resets import VALID_FOR
from coaching.outbox import failure_of

__all__ = ["MailRun", "send", "send_due_mail"]

log = structlog.get_logger("emails")

MAILS_AT_MOST = 200
LASTS = {MailKind.MORNING: timedelta(hours=36), MailKind.RESET: VALID_FOR}
MAILS = {
    MailKind.MORNING: morning_mail,
    MailKind.URGENT: urgent_mail,
    MailKind.INVITATION: invitation_mail,
    MailKind.RESET: reset_mail,
}


@dataclass(frozen=True, slots=True)
class MailRun:
    """What one call did: handed over, to be tried again, given up; and what still waits in the outbox."""

    sent: int
    failed: int
    dead: int
    waiting: int


@dataclass(slots=True)
class _Tally:
    sent: int = 0
    failed: int = 0
    dead: int = 0

    def run(self) -> MailRun:
        return MailRun(self.sent, self.failed, self.dead, count_waiting())


def send_due_mail(*, now: datetime, budget: Budget, limit: int = MAILS_AT_MOST) -> MailRun:
    """Hand over what is due, urgent mail first, until the time is up. Safe to run twice at once.

    A mail that fails is put back and the next one goes on; only a mail server that refuses us stops the run.
    From a restored database nothing leaves until that is confirmed.
    """
    tally = _Tally()
    is_wanted = not budget.is_spent and is_any_due(now) and may_send(now=now)
    connection = _open_connection() if is_wanted else None
    for _ in range(limit):
        if connection is None or budget.is_spent:
            break
        claimed = claim_due(now=now, limit=1)
        if not claimed:
            break
        with within_practice(claimed[0].practice_id):
            failure = _hand_over(claimed[0], connection, tally, now)
        if failure is not None:
            _close(connection)
            connection = None if failure is Failure.NOT_ITS_FAULT else _open_connection()
    if connection is not None:
        _close(connection)
    return tally.run()


def send(row: MailRow, connection: BaseEmailBackend) -> None:
    """Render the row from the database as it stands now, and hand it over. Raises what the mail server says.

    Raises NothingToTellError if there is nobody, or nothing, to tell any more.
    """
    message = MAILS[MailKind(row.kind)](row)
    message.connection = connection
    message.send()


def _hand_over(row: MailRow, connection: BaseEmailBackend, tally: _Tally, now: datetime) -> Failure | None:
    try:
        _check_is_not_stale(row, now)
        send(row, connection)
    except Exception as error:  # one mail's trouble must not hold up the others
        failure, code = _reason(error)
        state = mark_failed(row=row, failure=failure, code=code, now=now)
        tally.failed += state == MailState.WAITING
        tally.dead += state == MailState.DEAD
        log.warning("mail_failed", mail=row.id, kind=row.kind, attempts=row.attempts, state=state, code=code)
        return failure
    mark_sent(row=row, now=now)
    tally.sent += 1
    log.info("mail_sent", mail=row.id, kind=row.kind, attempts=row.attempts)
    return None


def _check_is_not_stale(row: MailRow, now: datetime) -> None:
    """A morning gone by is not mailed, since the next one tells what still stands; nor is a dead link."""
    lasts = LASTS.get(MailKind(row.kind))
    if lasts is not None and now - row.created_at > lasts:
        raise NothingToTellError(f"{row.kind}_passed")


def _reason(error: Exception) -> tuple[Failure, str]:
    if isinstance(error, NothingToTellError):
        return Failure.PERMANENT, error.code
    return failure_of(error)


def _open_connection() -> BaseEmailBackend | None:
    """A connection, or None if the mail server cannot be reached or does not let us in: no mail's fault."""
    connection: BaseEmailBackend = get_connection()
    try:
        connection.open()
    except (smtplib.SMTPException, OSError) as error:
        log.warning("mail_server_refuses", code=failure_of(error)[1])
        return None
    return connection


def _close(connection: BaseEmailBackend) -> None:
    with contextlib.suppress(smtplib.SMTPException, OSError):
        connection.close()
