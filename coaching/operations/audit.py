"""The trail of who read or changed whose health data; rows are only ever added."""

import uuid
from collections.abc import Collection, Iterable
from datetime import datetime
from typing import Any

import structlog
from django.db import DatabaseError, InterfaceError, OperationalError

from coaching.errors import ConsentMissingError, TrailError
from coaching.models import Actor, AuditEvent, ChangeKind, Client
from coaching.models.statements import insert_rows
from coaching.operations.changes import note_records_of

WITHDRAWN = "The client has withdrawn the consent to health data: it is stored, and nobody works with it."
# No health data of their own, or already without what belongs to who withdrew.
OPEN_WITHOUT_CONSENT = frozenset({"client", "client_list", "consent", "sheet"})


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
    """Add one change to the trail, in the caller's transaction; `actor` is None for the service itself.

    Raises TrailError, as all here do.
    """
    record_changes(
        actor=actor,
        practice_id=practice_id,
        subject_key=subject_key,
        action=action,
        record_kind=record_kind,
        record_ids=[record_id],
        now=now,
        detail=detail,
    )


def record_changes(
    *,
    actor: Actor | None,
    practice_id: int,
    subject_key: uuid.UUID | None,
    action: str,
    record_kind: str,
    record_ids: Collection[str],
    now: datetime,
    detail: dict[str, Any] | None = None,
    is_told: bool = False,
) -> None:
    """The same for several records of one client; those that apps keep are put to the front of the feed.

    Unless that `is_told` already.
    """
    _add(
        AuditEvent(
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
        for record_id in record_ids
    )
    if subject_key is not None and record_kind in ChangeKind.values and not is_told:
        note_records_of(
            practice_id=practice_id,
            subject_key=subject_key,
            kind=record_kind,
            uids=[uuid.UUID(record_id) for record_id in record_ids],
            now=now,
            is_deleted=action == "delete",
        )


def record_reads(*, actor: Actor, subject_keys: list[uuid.UUID], record_kind: str, now: datetime) -> None:
    """Note who read whose records, once per account, device, client, kind and hour; safe to repeat."""
    record_reads_of(actor=actor, read=[(key, record_kind) for key in subject_keys], now=now)


def record_reads_again(
    *, actor: Actor, subject_keys: list[uuid.UUID], record_kind: str, now: datetime
) -> None:
    """The same for what is read again and again: what is on the trail already is looked up, not written.

    A write waits for every other writer on SQLite, and for the disk on both.
    """
    read = [(key, record_kind) for key in subject_keys]
    _check_may_read(actor, read)
    told = _told_this_hour(actor, subject_keys, record_kind, now)
    _add_reads(actor, [each for each in read if each[0] not in told], now)


def record_reads_of(*, actor: Actor, read: Collection[tuple[uuid.UUID, str]], now: datetime) -> None:
    """The same for records of several kinds: whose, and of which kind.

    Every reading comes by these, so here all but the client are refused what was withdrawn: raises
    ConsentMissingError.
    """
    _check_may_read(actor, read)
    _add_reads(actor, read, now)


def _add_reads(actor: Actor, read: Collection[tuple[uuid.UUID, str]], now: datetime) -> None:
    _add(
        [
            AuditEvent(
                practice_id=actor.practice_id,
                at=now,
                account_id=actor.account_id,
                device_id=actor.device_id,
                subject_key=key,
                action="read",
                record_kind=record_kind,
                read_hour=_hour_of(now),
            )
            for key, record_kind in read
        ],
        is_once_an_hour=True,
    )


def _hour_of(now: datetime) -> datetime:
    return now.replace(minute=0, second=0, microsecond=0)


def _told_this_hour(
    actor: Actor, subject_keys: list[uuid.UUID], record_kind: str, now: datetime
) -> set[uuid.UUID | None]:
    """Whose reading the trail has from this device already; without a device each is told anew."""
    if actor.device_id is None or not subject_keys:
        return set()
    rows = AuditEvent.objects.filter(
        account_id=actor.account_id,
        device_id=actor.device_id,
        read_hour=_hour_of(now),
        record_kind=record_kind,
        subject_key__in=subject_keys,
    )
    return set(rows.values_list("subject_key", flat=True))


def record_read_by_feed(
    *, practice_id: int, feed_uid: uuid.UUID, subject_key: uuid.UUID, now: datetime
) -> None:
    """A calendar program read a feed: nobody is signed in, so the feed itself stands for the device."""
    _add(
        [
            AuditEvent(
                practice_id=practice_id,
                at=now,
                device_id=feed_uid,
                subject_key=subject_key,
                action="read",
                record_kind="calendar_feed",
                record_id=str(feed_uid),
            )
        ]
    )


def _check_may_read(actor: Actor, read: Collection[tuple[uuid.UUID, str]]) -> None:
    keys = {key for key, record_kind in read if record_kind not in OPEN_WITHOUT_CONSENT}
    if actor.client_id is None and keys and Client.objects.stopped().filter(audit_key__in=keys).exists():
        raise ConsentMissingError(WITHDRAWN)


def _add(events: Iterable[AuditEvent], *, is_once_an_hour: bool = False) -> None:
    """Whoever cannot be put on the trail gets nothing. A database that is away says so by itself."""
    try:
        if is_once_an_hour:
            AuditEvent.objects.bulk_create(events, ignore_conflicts=True)
        else:
            insert_rows(list(events))
    except (OperationalError, InterfaceError):
        raise
    except DatabaseError as error:
        structlog.get_logger("audit").error("trail_not_written", error=type(error).__name__)
        raise TrailError("What is read and changed cannot be recorded now; try again.") from error
