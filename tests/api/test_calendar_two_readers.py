"""The calendar feed as two independent readers of RFC 5545 understand it: ical.js in Node, and icalendar."""

import json
import subprocess
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from icalendar import Calendar

from coaching.models import Client, PlanDay, ScheduledSession
from coaching.operations.assignments import assign_plan
from tests.factories import NOW
from tests.plan_builders import actor_of, knee_lift, plan_by
from tests.services import ICAL_JS

pytestmark = pytest.mark.node

READER = ICAL_JS.parent.parent / "read_feed.mjs"
# A day's name has at most 80 characters, which PostgreSQL holds to as well.
HARD_NAMES = [
    "Legs, heavy; slow \\ careful",
    "Two\nlines, and\n\na gap",
    "Ends in a backslash\\",
    "\\n is two letters, \\, and \\; too",
    ("🏋️‍♀️ Überkopfdrücken — 重量挙げ " * 3)[:79] + "|",
    "é" * 80,
    "🦵🏽" * 25,
    "x" * 80,
    'Colon: "quoted" ^n =ä; BEGIN:VEVENT',
    "Ελληνικά, עברית, العربية; हिन्दी" * 2,
]


def by_ical_js(feed: bytes) -> dict[str, Any]:
    done = subprocess.run(["node", READER], input=feed, capture_output=True, timeout=60)
    assert done.returncode == 0, done.stderr.decode()
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def by_icalendar(feed: bytes) -> dict[str, Any]:
    calendar = Calendar.from_ical(feed)
    assert not calendar.errors
    return {
        "version": str(calendar["VERSION"]),
        "prodid": str(calendar["PRODID"]),
        "method": str(calendar["METHOD"]),
        "name": str(calendar["X-WR-CALNAME"]),
        "refresh_s": int(calendar.decoded("REFRESH-INTERVAL").total_seconds()),
        "events": [_event(event) for event in calendar.walk("VEVENT")],
    }


def _event(event: Any) -> dict[str, Any]:
    assert not event.errors
    texts = {name: str(event[name]) for name in ("uid", "summary", "status", "transp", "class")}
    moments = ("dtstart", "dtend", "dtstamp", "last-modified")
    times = {name.replace("-", "_"): _time(event.decoded(name)) for name in moments}
    return texts | times | {"sequence": int(event["sequence"])}


def _time(value: date) -> dict[str, Any]:
    if not isinstance(value, datetime):
        return {"value": value.isoformat(), "is_date": True}
    return {"value": value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"), "is_date": False}


@pytest.fixture(autouse=True)
def monday_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def lift(db):
    return knee_lift()


def assign(cast, lift, starts_on=date(2026, 3, 2), **changes):
    assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan_by(cast.coach, lift, **changes).uid,
        starts_on=starts_on,
        override_reason="Agreed.",
        now=NOW,
    )
    return list(ScheduledSession.objects.order_by("due_on", "id"))


@pytest.fixture
def feed(client, cast, signed_in):
    """Fetches the feed of the client as a calendar program does; two readers must agree on it."""
    made = signed_in(cast.client).post(f"/api/v1/clients/{cast.client.uid}/calendar-feed").json()
    path = made["url"].removeprefix("http://127.0.0.1:8000")

    def fetch() -> tuple[bytes, list[dict[str, Any]]]:
        content = client.get(path).content
        understood = by_ical_js(content)
        assert understood == by_icalendar(content)
        return content, understood["events"]

    return fetch


def test_a_calendar_without_sessions(feed):
    assert feed()[1] == []


def test_one_session_with_all_that_is_told_of_it(cast, lift, feed):
    (row,) = assign(cast, lift, weekdays=(2,), weeks=1, deload_weeks=())
    (event,) = feed()[1]
    changed = {"value": NOW.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"), "is_date": False}
    assert event == {
        "uid": str(row.uid),
        "summary": "Training: Legs",
        "dtstart": {"value": "2026-03-04", "is_date": True},
        "dtend": {"value": "2026-03-05", "is_date": True},
        "dtstamp": changed,
        "last_modified": changed,
        "sequence": 0,
        "status": "CONFIRMED",
        "transp": "TRANSPARENT",
        "class": "PRIVATE",
    }


def test_half_a_year_of_sessions_comes_whole_and_in_order(cast, lift, feed):
    rows = assign(cast, lift, weekdays=(0, 2, 4), weeks=25, deload_weeks=())
    assert [event["uid"] for event in feed()[1]] == [str(row.uid) for row in rows]
    assert len(rows) == 75


@pytest.mark.parametrize("name", HARD_NAMES, ids=range(len(HARD_NAMES)))
def test_a_name_comes_back_letter_for_letter(cast, lift, feed, name):
    assign(cast, lift)
    PlanDay.objects.update(name=name)
    assert {event["summary"] for event in feed()[1]} == {f"Training: {name}"}


@pytest.mark.parametrize("letter", ["é", "重", "🏋"])
@pytest.mark.parametrize("shift", range(4))
def test_a_line_folded_within_a_letter_of_many_octets_is_read_whole(cast, lift, feed, letter, shift):
    name = "x" * shift + letter * 30
    assign(cast, lift)
    PlanDay.objects.update(name=name)
    content, events = feed()
    assert {event["summary"] for event in events} == {f"Training: {name}"}
    assert max(map(len, content.split(b"\r\n"))) <= 75
    assert all(line.decode() for line in content.split(b"\r\n") if line)  # no letter is cut in two


@pytest.mark.parametrize("status", ["cancelled", "not_done", "clinician_stop"])
def test_what_is_not_planned_any_more_is_cancelled(cast, lift, feed, status):
    rows = assign(cast, lift)
    ScheduledSession.objects.filter(id=rows[1].id).update(status=status)
    assert [event["status"] for event in feed()[1]] == ["CONFIRMED", "CANCELLED", "CONFIRMED", "CONFIRMED"]


@pytest.mark.parametrize(
    ("zone", "changes_on"),
    [
        ("Europe/Berlin", date(2026, 3, 29)),
        ("Europe/Berlin", date(2026, 10, 25)),
        ("America/New_York", date(2026, 3, 8)),
        ("America/Santiago", date(2026, 9, 6)),  # midnight itself does not exist there
        ("Australia/Lord_Howe", date(2026, 4, 5)),  # half an hour
        ("Pacific/Kiritimati", date(2026, 7, 5)),
    ],
)
def test_a_whole_day_stays_that_day_where_clocks_change(cast, lift, feed, time_machine, zone, changes_on):
    Client.objects.filter(id=cast.client.id).update(zone=zone)
    time_machine.move_to(datetime(changes_on.year, changes_on.month, 1, 12, tzinfo=UTC), tick=False)
    starts_on = changes_on - timedelta(days=6)
    assign(cast, lift, starts_on=starts_on, weekdays=(5, 6), weeks=2, deload_weeks=())
    around = [changes_on + timedelta(days=days) for days in (-1, 0, 6, 7)]
    assert [(event["dtstart"]["value"], event["dtend"]["value"]) for event in feed()[1]] == [
        (str(day), str(day + timedelta(days=1))) for day in around
    ]


def test_a_session_that_moves_stays_one_event_and_counts_up(cast, lift, feed, signed_in, time_machine):
    row = assign(cast, lift)[1]
    before = feed()[1][1]
    time_machine.move_to(NOW + timedelta(hours=3), tick=False)
    signed_in(cast.coach).patch(
        f"/api/v1/clients/{cast.client.uid}/scheduled-sessions/{row.uid}",
        {"due_on": "2026-03-07"},
        headers={"If-Match": '"1"'},
    )
    after = feed()[1][1]
    assert after["uid"] == before["uid"] == str(row.uid)
    assert (before["dtstart"]["value"], after["dtstart"]["value"]) == ("2026-03-05", "2026-03-07")
    assert (before["sequence"], after["sequence"]) == (0, 1)
    assert after["dtstamp"]["value"] > before["dtstamp"]["value"]


def test_a_plan_given_anew_does_not_leave_its_old_days_standing(cast, lift, feed):
    old = {str(row.uid): row.due_on for row in assign(cast, lift)}
    assign(cast, lift, starts_on=date(2026, 3, 9), weekdays=(1,), weeks=2, deload_weeks=(), name="Moved")
    told = {event["uid"]: event for event in feed()[1]}
    standing = {event["dtstart"]["value"] for event in told.values() if event["status"] == "CONFIRMED"}
    assert standing == {"2026-03-02", "2026-03-05", "2026-03-10", "2026-03-17"}
    gone = [uid for uid, due_on in old.items() if due_on >= date(2026, 3, 9)]
    assert all(uid not in told or told[uid]["status"] == "CANCELLED" for uid in gone)


def as_calendar(*lines: bytes) -> bytes:
    """One event whose summary is the lines given, between what RFC 5545 asks of each."""
    head = (b"BEGIN:VCALENDAR", b"VERSION:2.0", b"PRODID:-//Test//EN", b"METHOD:PUBLISH", b"X-WR-CALNAME:T")
    first = (b"REFRESH-INTERVAL;VALUE=DURATION:PT6H", b"BEGIN:VEVENT", b"UID:1", b"DTSTAMP:20260302T110000Z")
    times = (b"LAST-MODIFIED:20260302T110000Z", b"DTSTART;VALUE=DATE:20260302", b"DTEND;VALUE=DATE:20260303")
    rest = (b"SEQUENCE:0", b"STATUS:CONFIRMED", b"TRANSP:TRANSPARENT", b"CLASS:PRIVATE", b"END:VEVENT")
    return b"\r\n".join((*head, *first, *times, *lines, *rest, b"END:VCALENDAR", b""))


# RFC 5545, 3.1: the long line of the section, folded as it is there. Seen in a copy of the text.
FOLDED = (b"SUMMARY:This is a lo", b" ng description", b"  that exists on a long line.")
# RFC 5545, 3.3.11: the multi-line value of the section.
ESCAPED = (rb"SUMMARY:Project XYZ Final Review\nConference Room - 3B\nCome Prepared.",)


@pytest.mark.parametrize(
    ("lines", "meant"),
    [
        (FOLDED, "This is a long description that exists on a long line."),
        (ESCAPED, "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."),
    ],
    ids=["3.1 folding", "3.3.11 text"],
)
def test_both_readers_understand_the_examples_of_rfc_5545(lines, meant):
    content = as_calendar(*lines)
    understood = by_ical_js(content)
    assert understood == by_icalendar(content)
    assert [event["summary"] for event in understood["events"]] == [meant]


def test_the_feed_writes_the_example_of_section_3_3_11_as_the_section_does(cast, lift, feed):
    assign(cast, lift)
    PlanDay.objects.update(name="Project XYZ Final Review\nConference Room - 3B\nCome Prepared.")
    content, _ = feed()
    unfolded = content.replace(b"\r\n ", b"")
    assert rb"SUMMARY:Training: Project XYZ Final Review\nConference Room - 3B\nCome Prepared." in unfolded
    assert content.endswith(b"END:VCALENDAR\r\n") and b"\n" not in content.replace(b"\r\n", b"")
