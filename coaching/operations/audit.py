"""The trail of who read or changed whose health data; rows are only ever added."""

import uuid
from datetime import datetime
from typing import Any

from coaching.models import Actor, AuditEvent


def record_change(
    *,
    actor: Actor | None,
    practice_id: int,
    subject_key: uuid.UUID | None,
    action: str,
    record_kind: str,
    record_id: str,
    now: datetime,
    detail: dict[str, Any] | None = None,
) -> None:
    """Add one change to the trail, in the caller's transaction; `actor` is None for the service itself."""
    AuditEvent.objects.create(
        practice_id=practice_id,
        at=now,
        account_id=actor.account_id if actor else None,
        device_id=actor.device_id if actor else None,
        subject_key=subject_key,
        action=action,
        record_kind=record_kind,
        record_id=record_id,
        detail=detail or {},
    )


def record_reads(*, actor: Actor, subject_keys: list[uuid.UUID], record_kind: str, now: datetime) -> None:
    """Note who read whose records, once per account, device, client, kind and hour; safe to repeat."""
    AuditEvent.objects.bulk_create(
        [
            AuditEvent(
                practice_id=actor.practice_id,
                at=now,
                account_id=actor.account_id,
                device_id=actor.device_id,
                subject_key=key,
                action="read",
                record_kind=record_kind,
                read_hour=now.replace(minute=0, second=0, microsecond=0),
            )
            for key in subject_keys
        ],
        ignore_conflicts=True,
    )
