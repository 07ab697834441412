import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching import nightly
from coaching.models import Alert, AuditEvent, Change, ChangeKind, Client, Exercise, ScheduledSession
from coaching.operations.alerts import Finding, apply_findings
from coaching.operations.assignments import assign_plan
from tests.bodies import pain_body, session_body, set_body
from tests.conftest import token_for
from tests.plan_builders import actor_of, knee_lift, plan_by

CHANGES = "/api/v1/changes"
NOW = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def evening(time_machine):
    time_machine.move_to(NOW)


@pytest.fixture
def app(cast, signed_in):
    return signed_in(cast.client)


@pytest.fixture
def coach(cast, signed_in):
    return signed_in(cast.coach)


class Copy:
    """What an app holds: it follows the feed by the rules of the API and by nothing else."""

    def __init__(self, api, **query):
        self.api, self.query = api, query
        self.mark = None
        self.held = {}

    def catch_up(self):
        """The answers that it took, each at most `page_size` long."""
        answers = []
        while not answers or answers[-1]["has_more"]:
            since = {} if self.mark is None else {"since": self.mark}
            answer = self.api.get(CHANGES, self.query | since)
            assert answer.status_code == 200, answer.content
            body = answer.json()
            for item in body["items"]:
                self.take(item)
            self.mark = body["mark"]
            answers.append(body)
        return answers

    def take(self, item):
        key = (item["kind"], item["id"])
        if item["is_deleted"]:
            assert item["record"] is None
            self.held.pop(key, None)
        else:
            self.held[key] = item["record"]

    def of(self, kind):
        return {uid: record for (named, uid), record in self.held.items() if named == kind}


def kinds(answers):
    return sorted(item["kind"] for answer in answers for item in answer["items"])


def put(api, uid=None, **changes):
    uid = uid or uuid.uuid4()
    answer = api.put(f"/api/v1/sessions/{uid}", session_body(**changes), format="json")
    assert answer.status_code == 201, answer.content
    return uid


def tombstones(answers):
    return {(i["kind"], i["id"]) for answer in answers for i in answer["items"] if i["is_deleted"]}


def assign(cast, starts_on=date(2026, 3, 2), weeks=4, **content):
    lift = Exercise.objects.filter(code="hack_squat_invented").first() or knee_lift()
    plan = plan_by(cast.coach, lift, weeks=weeks, **content)
    return assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan.uid,
        starts_on=starts_on,
        override_reason="",
        now=datetime.now(UTC),
    ).assignment


def listed(api, address):
    answer = api.get(f"{address}{'&' if '?' in address else '?'}page_size=200")
    return answer.json()["items"] if answer.status_code == 200 else []


def what_gets_say(api, client):
    """Every record of the client by kind and id, each from its own address."""
    base = f"/api/v1/clients/{client.uid}"
    today = datetime.now(UTC).date()
    window = f"from={today - timedelta(days=59)}&until={today + timedelta(days=60)}"
    injuries = listed(api, f"{base}/injuries")
    sessions = listed(api, f"{base}/sessions")
    in_sessions = {report["id"] for session in sessions for report in session["pain_reports"]}
    found = {
        ChangeKind.CLIENT: [api.get(base).json()],
        ChangeKind.INJURY: injuries,
        ChangeKind.RESTRICTION: [
            row for injury in injuries for row in listed(api, f"{base}/injuries/{injury['id']}/restrictions")
        ],
        ChangeKind.CLEARANCE: listed(api, f"{base}/clearances"),
        ChangeKind.INTERVENTION_NOTE: listed(api, f"{base}/intervention-notes"),
        ChangeKind.ASSIGNMENT: listed(api, f"{base}/assignments"),
        ChangeKind.SCHEDULED_SESSION: api.get(f"{base}/scheduled-sessions?{window}").json()["items"],
        ChangeKind.SESSION: sessions,
        ChangeKind.PAIN_REPORT: [
            row for row in listed(api, f"{base}/pain-reports") if row["id"] not in in_sessions
        ],
        ChangeKind.ALERT: listed(api, f"/api/v1/alerts?client={client.uid}")
        + listed(api, f"/api/v1/alerts?client={client.uid}&status=closed"),
    }
    return {(kind.value, row["id"]): row for kind, rows in found.items() for row in rows}


def post_batch(app, day, start):
    items = [
        session_body(
            id=str(uuid.uuid4()),
            performed_at=f"{day}T{hour}:00:00+01:00",
            ended_at=f"{day}T{hour}:40:00+01:00",
            sets=[set_body(load=80 + start), set_body(load=90 + start)],
            pain_reports=[
                pain_body(id=str(uuid.uuid4()), pain=min(2 + start // 5, 7), reported_at=f"{day}T21:00:00Z")
            ],
        )
        for hour in (10, 18)
    ]
    answer = app.post("/api/v1/sessions/batch", {"items": items}, format="json")
    assert [row["status"] for row in answer.json()["items"]] == [201, 201], answer.content
    return [item["id"] for item in items]


def pass_days(time_machine, days, each_day=lambda day, number: None):
    """Days go by, each with its night; `each_day` is what somebody does on them."""
    first = datetime.now(UTC)
    for number in range(days):
        day = first + timedelta(days=number + 1)
        time_machine.move_to(day.replace(hour=4))
        nightly.run_due_nights(now=datetime.now(UTC), budget_s=60)
        time_machine.move_to(day.replace(hour=21))
        each_day(day.date(), number)


@pytest.fixture
def month_away(cast, signed_in, app, coach, time_machine):
    """Device B of the client was off for a month: 40 posts, 3 edits, 2 deletions, thirty nights, a new plan."""
    assign(cast)
    add_one_of_each(coach, cast)
    away = Copy(signed_in(cast.client), page_size=200)
    away.catch_up()
    posted = []
    pass_days(time_machine, 20, lambda day, number: posted.extend(post_batch(app, day, number)))
    for uid in posted[3:6]:
        windy, version = {"note": "Windy"}, {"If-Match": '"1"'}
        edited = app.patch(f"/api/v1/sessions/{uid}", windy, format="json", headers=version)
        assert edited.status_code == 200, edited.content
    for uid in posted[10:12]:
        assert app.delete(f"/api/v1/sessions/{uid}", headers={"If-Match": '"1"'}).status_code == 204
    assign(cast, starts_on=date(2026, 3, 25), weekdays=(1, 4), name="Second")
    pass_days(time_machine, 10)
    return away


def add_one_of_each(coach, cast, shared=True):
    """An injury, a restriction on it, a clearance, a note and a pain report on its own, by their addresses."""
    base = f"/api/v1/clients/{cast.client.uid}"
    site = {"joint": "knee", "side": "left"}
    injury = coach.post(f"{base}/injuries", site | {"said": "Sore on stairs."}, format="json").json()
    limit = {"kind": "limit", "limit": "No jumping", "from_on": "2026-03-01", "said_by": "coach"}
    restriction = coach.post(f"{base}/injuries/{injury['id']}/restrictions", limit, format="json").json()
    cleared = site | {
        "clinician_name": "Dana Doctor",
        "clinician_profession": "surgeon",
        "cleared_on": "2026-03-01",
        "flags": ["night_pain"],
    }
    clearance = coach.post(f"{base}/clearances", cleared, format="json").json()
    note = site | {"noted_on": "2026-03-01", "changed": "Less depth", "is_shared": shared}
    written = coach.post(f"{base}/intervention-notes", note, format="json").json()
    report = uuid.uuid4()
    body = pain_body(moment="next_morning", client=str(cast.client.uid))
    assert coach.put(f"/api/v1/pain-reports/{report}", body, format="json").status_code == 201
    return injury, restriction, clearance, written, str(report)


def test_a_month_away_is_caught_up_in_three_calls_and_reads_as_the_records_themselves(cast, app, month_away):
    assert Alert.objects.filter(kind__in=["silent", "off_plan", "unlogged", "over_dose"]).exists()
    answers = month_away.catch_up()
    assert len(answers) <= 3
    assert len(month_away.of("session")) == 38
    assert len(month_away.of("alert")) == Alert.objects.count() > 0
    assert month_away.held == what_gets_say(app, cast.client)
    again = month_away.catch_up()
    assert [(answer["items"], answer["has_more"]) for answer in again] == [([], False)]


def test_a_coach_who_begins_reads_the_same_as_the_records_themselves(cast, coach, month_away):
    copy = Copy(coach, page_size=200)
    assert len(copy.catch_up()) <= 3
    assert {kind for kind, _ in copy.held} == set(ChangeKind.values)
    assert copy.held == what_gets_say(coach, cast.client)
