"""The trail as it is searched by hand, and as the client and the coach see it."""

import csv
import io
import json

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import Actor, AuditEvent, DeviceToken, InterventionNote, Role
from coaching.operations.audit import record_change, record_reads
from tests.factories import NOW


def actor_on(member, device_id=None) -> Actor:
    return Actor(member.account_id, device_id, member.practice_id, Role(member.role), membership_id=member.id)


@pytest.fixture
def trail(cast):
    """Coach and owner read on two devices; a session is made on the next day."""
    phone = DeviceToken.objects.create(
        user=cast.coach.account, practice=cast.practice, membership=cast.coach, device_name="=phone"
    )[0]
    for who, device in ((cast.coach, phone.uid), (cast.owner, None)):
        for kind in ("session", "alert"):
            record_reads(
                actor=actor_on(who, device), subject_keys=[cast.client.audit_key], record_kind=kind, now=NOW
            )
    record_change(
        actor=actor_on(cast.coach, phone.uid),
        practice_id=cast.practice.id,
        subject_key=cast.client.audit_key,
        action="update",
        record_kind="practice",
        record_id="x",
        now=NOW.replace(day=3),
    )
    record_reads(
        actor=actor_on(cast.colleague),
        subject_keys=[cast.colleagues_client.audit_key],
        record_kind="session",
        now=NOW,
    )


def searched(*words) -> str:
    out = io.StringIO()
    call_command("audit", *words, stdout=out)
    return out.getvalue()


def events(*words):
    found = json.loads(searched(*words, "--json"))["events"]
    return [row for row in found if row["action"] != "search"]


def test_an_event_tells_who_what_when_and_from_which_device(cast, trail):
    first = events("--client", str(cast.client.uid))[0]
    assert first == {
        "at": "2026-03-02T12:00:00+00:00",
        "practice": str(cast.practice.uid),
        "account_id": str(cast.coach.account_id),
        "who": "Carl Coach",
        "device_id": first["device_id"],
        "device_name": "=phone",
        "client": str(cast.client.uid),
        "client_name": "Mira Lift",
        "action": "read",
        "record_kind": "session",
        "record_id": "",
        "detail": {},
    }


@pytest.mark.parametrize(
    ("words", "count"),
    [
        ((), 6),
        (("--client", "{client}"), 5),
        (("--account", "{account}"), 3),
        (("--account", "{email}"), 3),
        (("--from", "2026-03-03"), 1),
        (("--until", "2026-03-02"), 5),
        (("--from", "2026-03-02", "--until", "2026-03-02", "--kind", "alert"), 2),
        (("--action", "update"), 1),
        (("--client", "{client}", "--account", "{email}", "--kind", "alert"), 1),
    ],
)
def test_it_finds_by_client_account_days_action_and_kind(cast, trail, words, count):
    known = {
        "client": cast.client.uid,
        "account": cast.coach.account_id,
        "email": cast.coach.account.email.upper(),
    }
    assert len(events(*(word.format(**known) for word in words))) == count


def test_who_saw_what_counts_by_person_device_client_and_kind(cast, trail):
    rows = json.loads(searched("--who-saw-what", "--client", str(cast.client.uid), "--json"))["rows"]
    told = [(row["who"], row["action"], row["record_kind"], row["events"]) for row in rows]
    assert sorted(told, key=str) == sorted(
        [
            ("Carl Coach", "read", "alert", 1),
            ("Carl Coach", "read", "session", 1),
            ("Carl Coach", "update", "practice", 1),
            ("Olga Owner", "read", "alert", 1),
            ("Olga Owner", "read", "session", 1),
            (None, "search", "audit", 1),
        ],
        key=str,
    )
    assert rows[0]["first_at"] == rows[0]["last_at"] == "2026-03-02T12:00:00+00:00"


def test_as_csv_no_cell_is_a_formula(cast, trail):
    rows = list(csv.DictReader(io.StringIO(searched("--csv", "--client", str(cast.client.uid)), newline="")))
    assert len(rows) == 6
    assert (rows[0]["device_name"], rows[0]["who"], rows[0]["detail"]) == ("'=phone", "Carl Coach", "")


def test_in_lines_what_is_not_known_is_a_dash(cast, trail):
    line = searched("--client", str(cast.client.uid), "--kind", "session").splitlines()[1]
    assert "  Olga Owner  -  -  " in line


def test_the_search_is_on_the_trail_of_whom_it_looks_into(cast, trail):
    searched("--client", str(cast.client.uid), "--account", str(cast.coach.account_id))
    row = AuditEvent.objects.get(action="search")
    assert (row.subject_key, row.record_kind, row.account_id) == (cast.client.audit_key, "audit", None)
    assert row.detail == {"account": str(cast.coach.account_id)}
    searched()
    wide = AuditEvent.objects.filter(action="search", subject_key=None).values_list("practice_id", flat=True)
    assert sorted(wide) == sorted([cast.practice.id, cast.stranger.practice_id])


def test_a_long_trail_costs_no_more_queries(cast, trail):
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as captured:
            searched("--csv", "--client", str(cast.client.uid))
        return len(captured)

    few = queries()
    for minute in range(40):
        record_change(
            actor=actor_on(cast.coach),
            practice_id=cast.practice.id,
            subject_key=cast.client.audit_key,
            action="update",
            record_kind="practice",
            record_id=str(minute),
            now=NOW,
        )
    assert queries() == few


def seen(api, cast, **query):
    answer = api.get(f"/api/v1/clients/{cast.client.uid}/audit", query)
    assert answer.status_code == 200, answer.content
    return answer.json()["items"]


def test_only_the_owner_sees_what_others_call_their_devices(cast, trail, signed_in):
    names = {
        who: {row["device_name"] for row in seen(signed_in(getattr(cast, who)), cast, record_kind="session")}
        for who in ("client", "coach", "owner")
    }
    assert names == {"client": {None}, "coach": {"=phone", None}, "owner": {"=phone", None}}


def test_a_client_sees_that_a_note_was_written_and_not_which(cast, signed_in):
    body = {"joint": "knee", "side": "left", "noted_on": "2026-03-01", "changed": "Depth"}
    notes = f"/api/v1/clients/{cast.client.uid}/intervention-notes"
    assert signed_in(cast.coach).post(notes, body).status_code == 201
    uid = str(InterventionNote.objects.get().uid)
    ids = {
        who: seen(signed_in(getattr(cast, who)), cast, record_kind="intervention_note")[0]["record_id"]
        for who in ("client", "coach")
    }
    assert ids == {"client": "", "coach": uid}


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ({"from": "2026-03-03"}, 1),
        ({"from": "2026-03-02", "until": "2026-03-02"}, 4),
        ({"until": "2026-03-01"}, 0),
        ({"record_kind": "alert"}, 2),
    ],
)
def test_the_client_filters_by_days_and_kind(cast, trail, signed_in, time_machine, query, count):
    time_machine.move_to("2026-03-10T12:00:00Z", tick=False)
    rows = seen(signed_in(cast.client), cast, **query)
    assert len([row for row in rows if row["record_kind"] != "audit"]) == count


@pytest.mark.parametrize("query", [{"from": "yesterday"}, {"colour": "red"}, {"until": "2026-13-01"}])
def test_a_strange_filter_is_a_problem(cast, signed_in, query):
    answer = signed_in(cast.client).get(f"/api/v1/clients/{cast.client.uid}/audit", query)
    assert answer.status_code == 400
