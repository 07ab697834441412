"""The trail in the database: nobody changes, deletes or empties it but through the one door."""

from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction

from coaching.models import AuditEvent
from coaching.operations.audit import record_change
from coaching.operations.audit_door import drop_before, forget_subject, open_door
from tests.factories import NOW, fresh_uid

TABLE = "coaching_auditevent"
KEPT = "append-only"


@pytest.fixture
def event(cast) -> AuditEvent:
    record_change(
        actor=None,
        practice_id=cast.practice.id,
        subject_key=cast.client.audit_key,
        action="update",
        record_kind="practice",
        record_id="made-up",
        now=NOW,
        detail={"fields": ["name"]},
    )
    return AuditEvent.objects.get()


def refused(sql: str) -> bool:
    with pytest.raises(DatabaseError, match=KEPT), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)
    return True


@pytest.mark.parametrize(
    "sql",
    [
        f"UPDATE {TABLE} SET action = 'read'",
        f"UPDATE {TABLE} SET subject_key = NULL",
        f"UPDATE {TABLE} SET detail = '{{}}'",
        f"DELETE FROM {TABLE}",
    ],
)
def test_sql_can_neither_change_nor_delete_a_row(event, sql):
    before = AuditEvent.objects.values().get()
    assert refused(sql)
    assert AuditEvent.objects.values().get() == before


def test_neither_can_our_own_code(event):
    for forbidden in (event.delete, event.save, AuditEvent.objects.all().delete):
        with pytest.raises(DatabaseError, match=KEPT), transaction.atomic():
            forbidden()
    assert AuditEvent.objects.count() == 1


@pytest.mark.postgresql
def test_the_table_cannot_be_emptied(event):
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL forbear.audit_door = ''; SET CONSTRAINTS ALL IMMEDIATE")
    assert refused(f"TRUNCATE {TABLE}")
    assert refused(f"INSERT INTO {TABLE} SELECT * FROM {TABLE} ON CONFLICT (id) DO UPDATE SET action = 'x'")


@pytest.mark.postgresql
@pytest.mark.parametrize(
    ("door", "sql"),
    [
        ("erasure", f"DELETE FROM {TABLE}"),
        ("erasure", f"UPDATE {TABLE} SET action = 'read'"),
        ("erasure", f"UPDATE {TABLE} SET subject_key = gen_random_uuid()"),
        ("erasure", f"UPDATE {TABLE} SET record_id = 'another'"),
        ("erasure", f"UPDATE {TABLE} SET account_id = gen_random_uuid()"),
        ("erasure", f"UPDATE {TABLE} SET at = at + interval '1 hour'"),
        ("retention", f"UPDATE {TABLE} SET record_id = ''"),
        ("retention", f"TRUNCATE {TABLE}"),
        ("open", f"DELETE FROM {TABLE}"),
    ],
)
def test_a_door_lets_through_what_it_is_for_and_nothing_else(event, door, sql):
    with open_door(door), connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        assert refused(sql)


def test_erasure_empties_what_leads_to_the_client_and_keeps_that_it_happened(event, cast):
    own = cast.client.account_id
    AuditEvent.objects.create(
        practice=cast.practice,
        at=NOW,
        account_id=own,
        device_id=fresh_uid(),
        subject_key=cast.client.audit_key,
        action="create",
        record_kind="session",
        record_id=str(fresh_uid()),
    )
    assert forget_subject(subject_key=cast.client.audit_key, own_account_id=own) == 2
    kept = AuditEvent.objects.order_by("id").values_list(
        "action", "record_kind", "record_id", "detail", "account_id", "device_id"
    )
    assert list(kept) == [
        ("update", "practice", "", {}, None, None),
        ("create", "session", "", {}, None, None),
    ]
    assert forget_subject(subject_key=cast.client.audit_key, own_account_id=own) == 0


def test_what_is_older_than_it_is_kept_is_let_go(event, cast):
    here, elsewhere = cast.practice.id, cast.stranger.practice.id
    after = NOW + timedelta(seconds=1)
    assert drop_before(practice_id=here, before=NOW, at_most=10) == 0
    assert drop_before(practice_id=here, before=after, at_most=0) == 0
    assert drop_before(practice_id=elsewhere, before=after, at_most=10) == 0
    assert drop_before(practice_id=here, before=after, at_most=10) == 1


@pytest.mark.parametrize("ended", ["well", "by an error"])
def test_the_door_is_shut_behind_whoever_went_through(event, ended):
    class SomethingElseError(Exception):
        pass

    try:
        with open_door("retention"):
            if ended == "by an error":
                raise SomethingElseError
    except SomethingElseError:
        pass
    assert refused(f"DELETE FROM {TABLE}")
