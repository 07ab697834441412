"""The outbox: what is to be mailed, as rows; claimed before sending, so that a dead sender loses nothing."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from enum import Enum

from django.db import connection, transaction
from django.db.models import Case, F, QuerySet, Value, When

from coaching.models import MailKind, MailRow, MailState

LEASE = timedelta(minutes=3)  # longer than the slowest exchange with a mail server under the time limit
BACK_OFF = [
    timedelta(minutes=1),
    timedelta(minutes=5),
    timedelta(minutes=30),
    timedelta(hours=2),
    timedelta(hours=6),
    timedelta(hours=24),
]
GIVES_UP_AFTER = timedelta(hours=48)
MAX_ATTEMPTS = 12  # more than the back-off allows in 48 hours: only a mail that kills its sender gets there


class Failure(Enum):
    """What a failed hand-over means for the mail."""

    TEMPORARY = "temporary"
    PERMANENT = "permanent"
    NOT_ITS_FAULT = "not_its_fault"


def enqueue_mail(
    *,
    practice_id: int,
    kind: str,
    recipient: str,
    key: str,
    payload: dict[str, int | str],
    now: datetime,
) -> None:
    """Put one mail into the outbox, in the caller's transaction; the same key a second time adds nothing.

    `payload` holds ids and dates only: the mail is rendered from the database when it is sent.
    """
    row = MailRow(
        practice_id=practice_id,
        kind=kind,
        recipient=recipient,
        key=key,
        payload=payload,
        created_at=now,
        next_at=now,
    )
    MailRow.objects.bulk_create([row], ignore_conflicts=True)


@transaction.atomic
def claim_due(*, now: datetime, limit: int) -> list[MailRow]:
    """Count an attempt and push the next one behind the lease, before anything is sent; urgent mail first.

    Whoever dies after this leaves a row that falls due again when the lease has run out.
    """
    due = due_mail(now)
    due.filter(attempts__gte=MAX_ATTEMPTS).update(state=MailState.DEAD, error_code="gave_up")
    rows = due.order_by(_urgent_first(), "next_at", "id")
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True)
    claimed = list(rows[:limit])
    _save_claim(claimed, now)
    return claimed


def due_mail(now: datetime) -> QuerySet[MailRow]:
    return MailRow.objects.filter(state=MailState.WAITING, next_at__lte=now)


def _urgent_first() -> Case:
    """Red flags first, then what somebody waits for with the app in their hand."""
    waited_for = [MailKind.RESET, MailKind.INVITATION]
    return Case(
        When(kind=MailKind.URGENT, then=Value(0)),
        When(kind__in=waited_for, then=Value(1)),
        default=Value(2),
    )


def _save_claim(rows: Sequence[MailRow], now: datetime) -> None:
    MailRow.objects.filter(id__in=[row.id for row in rows]).update(
        attempts=F("attempts") + 1, next_at=now + LEASE
    )
    for row in rows:
        row.attempts += 1
        row.next_at = now + LEASE


def mark_sent(*, row: MailRow, now: datetime) -> None:
    """The mail server has taken it; safe to repeat."""
    _waiting(row).update(state=MailState.SENT, sent_at=now, error_code="")


def mark_failed(*, row: MailRow, failure: Failure, code: str, now: datetime) -> MailState:
    """Plan the next attempt, or give the mail up; answers the state that it is in now.

    NOT_ITS_FAULT (the mail server refuses us, not this mail) takes the attempt back and never gives up.
    """
    code = code[:80]
    if failure is Failure.NOT_ITS_FAULT:
        _waiting(row).update(attempts=F("attempts") - 1, next_at=now + BACK_OFF[0], error_code=code)
        return MailState.WAITING
    next_at = now + back_off(row)
    if failure is Failure.PERMANENT or next_at > row.created_at + GIVES_UP_AFTER:
        _waiting(row).update(state=MailState.DEAD, error_code=code)
        return MailState.DEAD
    _waiting(row).update(next_at=next_at, error_code=code)
    return MailState.WAITING


def back_off(row: MailRow) -> timedelta:
    """How long to wait after this attempt; up to a tenth more, so that a batch does not come back at once."""
    delay = BACK_OFF[min(row.attempts, len(BACK_OFF)) - 1]
    return delay * (1 + row.uid.int % 100 / 1000)


def _waiting(row: MailRow) -> QuerySet[MailRow]:
    return MailRow.objects.filter(id=row.id, state=MailState.WAITING)
