"""The outbox, whatever leaves by it: claimed before it is sent, so that a dead sender loses nothing."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from enum import Enum
from typing import TypeVar

from django.db import connection, transaction
from django.db.models import F, Q, QuerySet

from coaching.models import MailRow, OutboxRow, OutboxState, WebhookDelivery

Row = TypeVar("Row", bound=OutboxRow)

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
MAX_ATTEMPTS = 12  # more than the back-off allows in 48 hours: only a row that kills its sender gets there


class Failure(Enum):
    """What a failed hand-over means for the row."""

    TEMPORARY = "temporary"
    PERMANENT = "permanent"
    NOT_ITS_FAULT = "not_its_fault"


def due_at(rows: QuerySet[Row], now: datetime) -> QuerySet[Row]:
    """What is due; a next attempt further off than any may be was set by a clock that was ahead."""
    is_due = Q(next_at__lte=now) | Q(next_at__gt=now + GIVES_UP_AFTER)
    return rows.filter(is_due, state=OutboxState.WAITING)


def set_aside_what_kills(due: QuerySet[Row]) -> None:
    """Give up what was begun too often without an end."""
    due.filter(attempts__gte=MAX_ATTEMPTS).update(state=OutboxState.DEAD, error_code="gave_up")


def claim_first(due: QuerySet[Row], *, now: datetime, limit: int) -> list[Row]:
    """Count an attempt of the first rows and push the next one behind the lease, in the caller's transaction.

    Nothing is sent before its commit: whoever dies after it leaves a row that falls due again when the lease
    has run out. Rows that another caller holds are passed over.
    """
    if connection.features.has_select_for_update_skip_locked:
        due = due.select_for_update(skip_locked=True, of=("self",))
    claimed = list(due[:limit])
    _save_claim(claimed, now)
    return claimed


def _save_claim(rows: Sequence[OutboxRow], now: datetime) -> None:
    if not rows:
        return
    type(rows[0])._default_manager.filter(id__in=[row.id for row in rows]).update(
        attempts=F("attempts") + 1, next_at=now + LEASE
    )
    for row in rows:
        row.attempts += 1
        row.next_at = now + LEASE


def mark_sent(*, row: OutboxRow, now: datetime) -> None:
    """The other side has taken it; safe to repeat."""
    _waiting(row).update(state=OutboxState.SENT, sent_at=now, error_code="")


def mark_failed(
    *, row: OutboxRow, failure: Failure, code: str, now: datetime, not_before: datetime | None = None
) -> OutboxState:
    """Plan the next attempt, or give the row up; answers the state that it is in now.

    NOT_ITS_FAULT (the other side refuses us, not this row) takes the attempt back and never gives up.
    """
    code = code[:80]
    if failure is Failure.NOT_ITS_FAULT:
        _waiting(row).update(attempts=F("attempts") - 1, next_at=now + BACK_OFF[0], error_code=code)
        return OutboxState.WAITING
    next_at = max(now + back_off(row), not_before or now)
    if failure is Failure.PERMANENT or next_at > row.created_at + GIVES_UP_AFTER:
        _waiting(row).update(state=OutboxState.DEAD, error_code=code)
        return OutboxState.DEAD
    _waiting(row).update(next_at=next_at, error_code=code)
    return OutboxState.WAITING


def back_off(row: OutboxRow) -> timedelta:
    """How long to wait after this attempt; up to a tenth more, so that a batch does not come back at once."""
    delay = BACK_OFF[min(row.attempts, len(BACK_OFF)) - 1]
    return delay * (1 + row.uid.int % 100 / 1000)


def _waiting(row: OutboxRow) -> QuerySet[OutboxRow]:
    return type(row)._default_manager.filter(id=row.id, state=OutboxState.WAITING)


@transaction.atomic
def drop_waiting() -> int:
    """Give up everything that waits, as after a restore; safe to repeat."""
    waiting = (MailRow.objects, WebhookDelivery.objects)
    given_up = {"state": OutboxState.DEAD, "error_code": "restored"}
    return sum(rows.filter(state=OutboxState.WAITING).update(**given_up) for rows in waiting)
