"""Mail in the outbox: what is to be mailed, written in the transaction of what it tells."""

from datetime import datetime

from django.db import transaction
from django.db.models import Case, QuerySet, Value, When

from coaching.models import MailKind, MailRow, OutboxState
from coaching.models.scope import across_practices
from coaching.operations.outbox_rows import claim_first, due_at, set_aside_what_kills


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


@across_practices("which mail is due")
@transaction.atomic
def claim_due(*, now: datetime, limit: int) -> list[MailRow]:
    """Claim the mails that are due, urgent mail first."""
    due = _due(now)
    set_aside_what_kills(due)
    return claim_first(due.order_by(_urgent_first(), "next_at", "id"), now=now, limit=limit)


@across_practices("whether any mail is due")
def is_any_due(now: datetime) -> bool:
    return _due(now).exists()


@across_practices("how much mail waits")
def count_waiting() -> int:
    return MailRow.objects.filter(state=OutboxState.WAITING).count()


def _due(now: datetime) -> QuerySet[MailRow]:
    return due_at(MailRow.objects.all(), now)


def _urgent_first() -> Case:
    """Red flags first, then what somebody waits for with the app in their hand."""
    waited_for = [MailKind.RESET, MailKind.INVITATION]
    return Case(
        When(kind=MailKind.URGENT, then=Value(0)),
        When(kind__in=waited_for, then=Value(1)),
        default=Value(2),
    )
