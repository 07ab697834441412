"""Telling the apps: whatever changes a record that apps keep puts its row to the front of the feed."""

import uuid
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import DateTimeField, Value

from coaching.models import Change, ChangeKind, Client, NightClient, ScheduledSession
from coaching.models.change import FIRST_LOCK_KEY
from coaching.models.scoped import statement_of
from coaching.models.statements import asked, done, uid_of

AT_ONCE = 1000
COLUMNS = [field for field in Change._meta.concrete_fields if not field.primary_key]
NAMES = ", ".join(str(field.column) for field in COLUMNS)
# One order everywhere, so that two writers of the same records wait and never lock each other out: a night
# and a post come to scheduled sessions before alerts.
LOCKING_ORDER = ("-kind", "client_id", "record_uid")


@dataclass(frozen=True, slots=True)
class Changed:
    client_id: int
    kind: str
    uid: uuid.UUID
    is_deleted: bool = False


@transaction.atomic(savepoint=False)
def note_changes(*, practice_id: int, changed: Iterable[Changed], now: datetime) -> None:
    """Put these records to the front of the feed, within the transaction that changes them; safe to repeat.

    A record named twice is told as it is named last.
    """
    latest = {(row.client_id, row.kind, row.uid): row for row in changed}
    rows = [
        Change(
            practice_id=practice_id,
            client_id=row.client_id,
            kind=str(row.kind),
            record_uid=row.uid,
            is_deleted=row.is_deleted,
            at=now,
        )
        for row in _in_locking_order(latest.values())
    ]
    for start in range(0, len(rows), AT_ONCE):
        _put_rows_to_the_front(rows[start : start + AT_ONCE])


def note_records_of(
    *,
    practice_id: int,
    subject_key: uuid.UUID,
    kind: str,
    uids: Iterable[uuid.UUID],
    now: datetime,
    is_deleted: bool = False,
) -> None:
    """The same for records of the client whom the trail knows by this key."""
    client_id = Client.objects.values_list("id", flat=True).get(audit_key=subject_key)
    note_changes(
        practice_id=practice_id,
        changed=[Changed(client_id, kind, uid, is_deleted) for uid in uids],
        now=now,
    )


def note_what_follows_a_post(
    *, client: Client, from_on: date, now: datetime, posted: Iterable[Changed] = ()
) -> None:
    """What was posted, when the client last wrote, and what sessions answered from that day on came to.

    A load as a share of an e1RM is held against what was known before, so later sessions count too.
    """
    own = [client.practice_id, client.id]
    judged = asked(JUDGED_BY_A_POST, [*own, *own, from_on])
    changed = [
        *posted,
        Changed(client.id, ChangeKind.CLIENT, client.uid),
        *(Changed(client.id, ChangeKind.SCHEDULED_SESSION, uid_of(uid)) for (uid,) in judged),
    ]
    note_changes(practice_id=client.practice_id, changed=changed, now=now)


def note_scheduled_session(*, client: Client, scheduled_id: int | None, now: datetime) -> None:
    """A log went from this scheduled session, if there was one."""
    if scheduled_id is not None:
        left = ScheduledSession.objects.filter(client=client, id=scheduled_id)
        _note_scheduled(client.practice_id, left, now)


def note_sessions_due(*, items: Sequence[NightClient], on: date, now: datetime) -> None:
    """A scheduled session reads otherwise once its day has come where the client lives, be it a day off.

    Before the night locks alerts: a post puts scheduled sessions to the front before it does so as well.
    """
    if not items:
        return
    a_day = timedelta(days=1)
    due = ScheduledSession.objects.filter(
        client_id__any_of=[item.client_id for item in items], due_on__range=(on - a_day, on + a_day)
    )
    told = due.order_by("client_id", "uid").values_list(
        "practice_id",
        "client_id",
        Value(ChangeKind.SCHEDULED_SESSION.value),
        "uid",
        Value(False),
        Value(now, DateTimeField()),
    )
    source, values = statement_of(told)
    _put_to_the_front(source, list(values))


def tell_anew(*, client_ids: Collection[int]) -> None:
    """Bring all that there is of these clients again, for whoever may see them only from now on."""
    if not client_ids:
        return
    standing = Change.objects.filter(client__in=client_ids, is_deleted=False).order_by(*LOCKING_ORDER)
    source, values = statement_of(standing.values_list(*[field.attname for field in COLUMNS]))
    with transaction.atomic(savepoint=False):
        _put_to_the_front(source, list(values))


def _note_scheduled(practice_id: int, rows: Any, now: datetime) -> None:
    found = rows.values_list("client_id", "uid").distinct()
    scheduled = [Changed(client_id, ChangeKind.SCHEDULED_SESSION, uid) for client_id, uid in found]
    note_changes(practice_id=practice_id, changed=scheduled, now=now)


def _in_locking_order(changed: Iterable[Changed]) -> list[Changed]:
    by_record = sorted(changed, key=lambda row: (row.client_id, row.uid))
    return sorted(by_record, key=lambda row: row.kind, reverse=True)


def _put_rows_to_the_front(rows: Sequence[Change]) -> None:
    if connection.vendor == "sqlite":
        values = [
            field.get_db_prep_save(getattr(row, field.attname), connection)
            for row in rows
            for field in COLUMNS
        ]
        _put_to_the_front("VALUES " + ", ".join([SLOTS] * len(rows)), values)
        return
    arrays = [[getattr(row, field.attname) for row in rows] for field in COLUMNS]
    done(HELD_BACK, [FIRST_LOCK_KEY, *arrays])


def _put_to_the_front(source: str, values: list[Any]) -> None:
    """Each row of `source` under a new id, in place of the one that its record had.

    An ORM upsert cannot give a new primary key, and deleting first would be a race on PostgreSQL.
    """
    if connection.vendor == "sqlite":
        # Its only writer; a replaced row gets an id that no row ever had (AUTOINCREMENT).
        statement = f"INSERT OR REPLACE INTO coaching_change ({NAMES}) {source}"
    else:
        statement = f"INSERT INTO coaching_change ({NAMES}) {source} {INSTEAD}"
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(HOLD_BACK, [FIRST_LOCK_KEY])
        cursor.execute(statement, values)


INSTEAD = (
    "ON CONFLICT (client_id, kind, record_uid) "
    "DO UPDATE SET id = EXCLUDED.id, is_deleted = EXCLUDED.is_deleted, at = EXCLUDED.at"
)
SLOTS = "(" + ", ".join(["%s"] * len(COLUMNS)) + ")"
JUDGED_BY_A_POST = (
    "SELECT DISTINCT s.uid FROM coaching_session x "
    "JOIN coaching_scheduledsession s ON s.id = x.scheduled_session_id "
    "WHERE x.practice_id = %s AND x.client_id = %s AND s.practice_id = %s AND s.client_id = %s "
    "AND x.performed_on >= %s"
)
# Before any id is taken: readers go no further than the newest id of now until this transaction ends.
HOLD_BACK = (
    "SELECT pg_advisory_xact_lock_shared(%s + last_value - CASE WHEN is_called THEN 0 ELSE 1 END) "
    "FROM coaching_change_id_seq"
)
# In one statement: no row comes out of the join, and takes an id, before the lock has been taken.
HELD_BACK = (
    f"WITH held AS MATERIALIZED ({HOLD_BACK}) INSERT INTO coaching_change ({NAMES}) "  # noqa: S608 - our own names
    "SELECT row.* FROM held, unnest(%s::bigint[], %s::bigint[], %s::text[], %s::uuid[], %s::boolean[], "
    f"%s::timestamptz[]) AS row {INSTEAD}"
)
