import io
import json
import logging
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from icalendar import Calendar

from coaching.logs import line_formatter
from coaching.models import AuditEvent, CalendarFeed, Client, PlanDay, ScheduledSession
from coaching.operations.assignments import assign_plan
from tests.factories import NOW, InjuryFactory
from tests.plan_builders import actor_of, knee_lift, plan_by


@pytest.fixture(autouse=True)
def monday_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def lift(db):
    return knee_lift()


def assign(cast, lift, starts_on=date(2026, 3, 2), **changes):
    return assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan_by(cast.coach, lift, **changes).uid,
        starts_on=starts_on,
        override_reason="Agreed.",
        now=NOW,
    )


@pytest.fixture
def scheduled(cast, lift):
    """Sessions of the client on 2, 5, 9 and 12 March 2026."""
    assign(cast, lift)
    return list(ScheduledSession.objects.order_by("due_on"))


def feed_address(client):
    return f"/api/v1/clients/{client.uid}/calendar-feed"


@pytest.fixture
def fetched_from(cast, signed_in):
    """The path of a feed that the client made."""
    answer = signed_in(cast.client).post(feed_address(cast.client))
    assert answer.status_code == 201
    return answer.json()["url"].removeprefix("http://127.0.0.1:8000")


def events(answer):
    assert answer.status_code == 200
    return Calendar.from_ical(answer.content).walk("VEVENT")


def test_the_address_is_shown_once_and_kept_as_a_digest(cast, signed_in):
    answer = signed_in(cast.coach).post(feed_address(cast.client))
    assert answer.status_code == 201
    assert set(answer.json()) == {"url", "created_at"}
    token = answer.json()["url"].removeprefix("http://127.0.0.1:8000/api/v1/calendar/").removesuffix(".ics")
    assert token.startswith("fbrcal_") and len(token) > 40
    feed = CalendarFeed.objects.values().get()
    assert token not in json.dumps(feed, default=str)


def test_a_calendar_program_gets_each_session_as_a_whole_day(client, scheduled, fetched_from):
    answer = client.get(fetched_from)
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    first = events(answer)[0]
    assert {name: first.decoded(name) for name in ("UID", "SUMMARY", "STATUS")} == {
        "UID": str(scheduled[0].uid),
        "SUMMARY": "Training: Legs",
        "STATUS": "CONFIRMED",
    }
    assert first.decoded("DTSTART") == date(2026, 3, 2)
    assert first.decoded("DTEND") == date(2026, 3, 3)
    assert first.decoded("SEQUENCE") == 0
    assert first.decoded("LAST-MODIFIED") == first.decoded("DTSTAMP") == NOW
    assert [row.decoded("DTSTART").day for row in events(answer)] == [2, 5, 9, 12]


def test_the_calendar_says_how_often_to_look(client, scheduled, fetched_from):
    calendar = Calendar.from_ical(client.get(fetched_from).content)
    assert calendar.decoded("REFRESH-INTERVAL") == timedelta(hours=6)
    assert (calendar["VERSION"], calendar["METHOD"]) == ("2.0", "PUBLISH")


def test_nothing_but_the_day_and_its_name_is_told(client, cast, scheduled, fetched_from):
    InjuryFactory(client=cast.client, said="Sore on stairs.")
    text = client.get(fetched_from).content.decode()
    for private in ("knee", "Sore", "Mira", "Invented", "Carl", "squat"):
        assert private not in text
    names = {line.split(":")[0].split(";")[0] for line in text.replace("\r\n ", "").splitlines()}
    assert names.isdisjoint({"DESCRIPTION", "LOCATION", "ATTENDEE", "ORGANIZER"})


def test_commas_semicolons_and_backslashes_come_back_as_they_were(client, scheduled, fetched_from):
    PlanDay.objects.update(name="Legs, heavy; slow \\ careful")
    answer = client.get(fetched_from)
    assert events(answer)[0].decoded("SUMMARY") == "Training: Legs, heavy; slow \\ careful"
    assert b"SUMMARY:Training: Legs\\, heavy\\; slow \\\\ careful\r\n" in answer.content


def test_long_lines_are_folded_between_letters(client, scheduled, fetched_from):
    name = "Überkopfdrücken äöü " * 4
    PlanDay.objects.update(name=name.strip())
    answer = client.get(fetched_from)
    assert max(len(line) for line in answer.content.split(b"\r\n")) <= 75
    assert b"\r\n " in answer.content
    assert all(line.decode() for line in answer.content.split(b"\r\n") if line)
    assert events(answer)[0].decoded("SUMMARY") == f"Training: {name.strip()}"


@pytest.mark.parametrize("changes_on", [date(2026, 3, 29), date(2026, 10, 25)])
def test_a_day_of_23_or_25_hours_is_one_day(client, cast, lift, fetched_from, time_machine, changes_on):
    time_machine.move_to(datetime(changes_on.year, changes_on.month, 1, 12, tzinfo=UTC), tick=False)
    assign(cast, lift, starts_on=changes_on - timedelta(days=6), weekdays=(5, 6), weeks=1, deload_weeks=())
    start, end = (events(client.get(fetched_from))[1].decoded(name) for name in ("DTSTART", "DTEND"))
    assert (start, end) == (changes_on, changes_on + timedelta(days=1))
    assert not isinstance(start, datetime)


def test_a_moved_session_keeps_its_uid_and_counts_up(client, cast, signed_in, scheduled, fetched_from):
    row = scheduled[1]
    before = events(client.get(fetched_from))[1]
    signed_in(cast.coach).patch(
        f"/api/v1/clients/{cast.client.uid}/scheduled-sessions/{row.uid}",
        {"due_on": "2026-03-06"},
        headers={"If-Match": '"1"'},
    )
    ScheduledSession.objects.filter(id=row.id).update(changed_at=NOW + timedelta(minutes=5))
    after = events(client.get(fetched_from))[1]
    assert after["UID"] == before["UID"]
    assert after.decoded("DTSTART") == date(2026, 3, 6)
    assert (before.decoded("SEQUENCE"), after.decoded("SEQUENCE")) == (0, 1)
    assert after.decoded("LAST-MODIFIED") == NOW + timedelta(minutes=5)


def test_a_change_of_the_calendar_is_dated(cast, signed_in, scheduled, time_machine):
    later = NOW + timedelta(hours=3)
    time_machine.move_to(later, tick=False)
    signed_in(cast.coach).patch(
        f"/api/v1/clients/{cast.client.uid}/scheduled-sessions/{scheduled[1].uid}",
        {"status": "cancelled"},
        headers={"If-Match": '"1"'},
    )
    assert ScheduledSession.objects.get(id=scheduled[1].id).changed_at == later
    assert ScheduledSession.objects.get(id=scheduled[0].id).changed_at is None


@pytest.mark.parametrize("status", ["cancelled", "not_done", "clinician_stop"])
def test_what_is_not_planned_any_more_is_cancelled_without_a_reason(client, scheduled, fetched_from, status):
    ScheduledSession.objects.filter(id=scheduled[2].id).update(status=status)
    answer = client.get(fetched_from)
    assert [str(row["STATUS"]) for row in events(answer)] == [
        "CONFIRMED", "CONFIRMED", "CANCELLED", "CONFIRMED",
    ]  # fmt: skip
    assert b"clinician" not in answer.content


def test_only_a_bounded_window_is_told(client, scheduled, fetched_from):
    edges = [date(2026, 2, 1), date(2026, 2, 2), date(2026, 8, 29), date(2026, 8, 30)]
    for row, due_on in zip(scheduled, edges, strict=True):
        ScheduledSession.objects.filter(id=row.id).update(due_on=due_on)
    assert [row.decoded("DTSTART") for row in events(client.get(fetched_from))] == edges[1:3]


def test_today_is_the_clients_day(client, cast, scheduled, fetched_from, time_machine):
    ScheduledSession.objects.filter(id=scheduled[0].id).update(due_on=date(2026, 8, 30))
    Client.objects.filter(id=cast.client.id).update(zone="Pacific/Auckland")
    assert len(events(client.get(fetched_from))) == 4


def test_a_calendar_without_sessions_is_a_calendar(client, fetched_from):
    assert events(client.get(fetched_from)) == []


def test_an_unchanged_calendar_is_not_sent_twice(client, scheduled, fetched_from):
    first = client.get(fetched_from)
    again = client.get(fetched_from, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    ScheduledSession.objects.filter(id=scheduled[0].id).update(status="cancelled")
    assert client.get(fetched_from, headers={"If-None-Match": first["ETag"]}).status_code == 200


def test_what_a_calendar_program_accepts_is_no_fault(client, scheduled, fetched_from):
    assert client.get(fetched_from, headers={"Accept": "text/calendar"}).status_code == 200
    assert client.head(fetched_from).status_code == 200


def test_a_new_address_ends_the_old(client, cast, signed_in, fetched_from):
    signed_in(cast.coach).post(feed_address(cast.client))
    assert client.get(fetched_from).status_code == 404
    assert CalendarFeed.objects.count() == 1


def test_a_revoked_address_is_not_there(client, cast, signed_in, fetched_from):
    api = signed_in(cast.client)
    assert api.delete(feed_address(cast.client)).status_code == 204
    assert api.delete(feed_address(cast.client)).status_code == 204
    answer = client.get(fetched_from)
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


def test_who_left_the_practice_has_no_calendar(client, cast, signed_in, fetched_from):
    Client.objects.filter(id=cast.client.id).update(archived_at=NOW)
    assert client.get(fetched_from).status_code == 404
    assert signed_in(cast.coach).post(feed_address(cast.client)).status_code == 410


def test_who_was_erased_has_no_calendar(client, cast, fetched_from):
    Client.objects.filter(id=cast.client.id).delete()
    assert client.get(fetched_from).status_code == 404


@pytest.mark.parametrize("token", ["fbrcal_" + "x" * 43, "x", "fbrcal_" + "x" * 5000, "%00", "%C3%28"])
def test_an_unknown_address_is_not_there(client, fetched_from, token):
    assert client.get(f"/api/v1/calendar/{token}.ics").status_code == 404


def test_no_log_line_holds_a_token(client, cast, signed_in, fetched_from):
    sink = io.StringIO()
    handler = logging.StreamHandler(sink)
    handler.setFormatter(line_formatter())
    logging.getLogger().addHandler(handler)
    try:
        signed_in(cast.client).delete(feed_address(cast.client))
        client.get(fetched_from)
        client.get(f"{fetched_from}/more")
    finally:
        logging.getLogger().removeHandler(handler)
    lines = sink.getvalue()
    assert lines.count('"event": "refused"') == 2
    assert "fbrcal_" not in lines


@pytest.mark.parametrize("who", ["colleague", "stranger", "colleagues_client"])
@pytest.mark.parametrize("method", ["post", "delete"])
def test_another_ones_feed_is_not_there(cast, signed_in, fetched_from, who, method):
    answer = getattr(signed_in(getattr(cast, who)), method)(feed_address(cast.client))
    assert answer.status_code == 404
    assert CalendarFeed.objects.count() == 1


def test_without_a_token_nobody_makes_a_feed(client, cast):
    assert client.post(feed_address(cast.client)).status_code == 401


def test_the_feed_is_on_the_trail_and_its_reading_once_an_hour(
    client, cast, signed_in, fetched_from, time_machine
):
    client.get(fetched_from)
    client.get(fetched_from)
    time_machine.move_to(NOW + timedelta(hours=1), tick=False)
    client.get(fetched_from)
    signed_in(cast.client).delete(feed_address(cast.client))
    trail = AuditEvent.objects.filter(subject_key=cast.client.audit_key, record_kind="calendar_feed")
    assert list(trail.order_by("id").values_list("action", flat=True)) == ["create", "read", "read", "revoke"]


def test_queries_do_not_grow_with_sessions(client, cast, lift, scheduled, fetched_from):
    client.get(fetched_from)
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(fetched_from)
    assign(cast, lift, starts_on=date(2026, 3, 16), weeks=20, deload_weeks=(), name="Longer")
    with CaptureQueriesContext(connection) as many:
        assert len(events(client.get(fetched_from))) > 30
    assert len(many) == len(few) <= 6
