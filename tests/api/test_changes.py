import importlib
import uuid
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from api.changes import mark_signer
from coaching import nightly
from coaching.budget import Budget
from coaching.models import (
    Alert,
    AuditEvent,
    Change,
    ChangeKind,
    Client,
    Exercise,
    Invitation,
    ScheduledSession,
)
from coaching.operations.alerts import Finding, apply_findings
from coaching.operations.assignments import assign_plan
from coaching.operations.changes import Changed, note_changes
from coaching.operations.invitations import digest_of
from coaching.operations.plans import rewrite_plan
from tests.bodies import pain_body, session_body, set_body
from tests.factories import PASSWORD, ClientFactory, ConsentFactory
from tests.plan_builders import actor_of, knee_lift, plan_by, plan_content

CHANGES = "/api/v1/changes"
NOW = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def evening(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def cast(cast):
    """The client as the operation leaves them that makes clients."""
    made = Changed(cast.client.id, ChangeKind.CLIENT, cast.client.uid)
    note_changes(practice_id=cast.practice.id, changed=[made], now=NOW)
    return cast


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
        time_machine.move_to(day.replace(hour=4), tick=False)
        nightly.run_due_nights(now=datetime.now(UTC), budget=Budget.of(60))
        time_machine.move_to(day.replace(hour=21), tick=False)
        each_day(day.date(), number)


@pytest.fixture
def month_away(cast, signed_in, app, coach, time_machine):
    """Device B was off for a month: 40 posts, 3 edits, 2 deletions, thirty nights, a new plan."""
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
    away.api = signed_in(cast.client)  # its token has lain idle for too long
    return away


def add_one_of_each(coach, cast, shared=True):
    """An injury, a restriction on it, a clearance, a note and a pain report on its own."""
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


def test_a_coach_who_begins_reads_the_same_as_the_records_themselves(cast, signed_in, month_away):
    coach = signed_in(cast.coach)
    copy = Copy(coach, page_size=200)
    assert len(copy.catch_up()) <= 3
    assert {kind for kind, _ in copy.held} == set(ChangeKind.values)
    assert copy.held == what_gets_say(coach, cast.client)


def test_every_record_comes_once_with_its_kind_version_and_client(cast, coach):
    injury, *_ = add_one_of_each(coach, cast)
    changed = coach.patch(
        f"/api/v1/clients/{cast.client.uid}/injuries/{injury['id']}",
        {"status": "settled"},
        format="json",
        headers={"If-Match": '"1"'},
    )
    items = [item for answer in Copy(coach).catch_up() for item in answer["items"]]
    assert [item for item in items if item["kind"] == "injury"] == [
        {
            "kind": "injury",
            "id": injury["id"],
            "client": str(cast.client.uid),
            "version": 2,
            "changed_at": "2026-03-02T20:00:00Z",
            "is_deleted": False,
            "record": changed.json(),
        }
    ]
    assert {item["kind"] for item in items if item["version"] is None} == {
        "restriction",
        "clearance",
        "intervention_note",
    }


def test_a_deleted_session_comes_as_a_tombstone(cast, app):
    uid = put(app)
    copy = Copy(app)
    copy.catch_up()
    app.delete(f"/api/v1/sessions/{uid}", headers={"If-Match": '"1"'})
    answers = copy.catch_up()
    assert tombstones(answers) == {("session", str(uid))}
    assert copy.of("session") == {}


def test_a_restriction_taken_back_comes_as_a_tombstone(cast, coach):
    injury, restriction, *_ = add_one_of_each(coach, cast)
    copy = Copy(coach)
    copy.catch_up()
    address = f"/api/v1/clients/{cast.client.uid}/injuries/{injury['id']}/restrictions/{restriction['id']}"
    assert coach.delete(address).status_code == 204
    assert tombstones(copy.catch_up()) == {("restriction", restriction["id"])}


def test_days_that_a_new_plan_replaces_come_as_tombstones(cast, app):
    first = assign(cast)
    copy = Copy(app)
    copy.catch_up()
    assign(cast, starts_on=date(2026, 3, 9), name="Second")
    gone = {uid for kind, uid in tombstones(copy.catch_up()) if kind == "scheduled_session"}
    assert len(gone) == 6
    assert copy.held == what_gets_say(app, cast.client)
    assert copy.of("assignment")[str(first.uid)]["ends_on"] == "2026-03-08"


def test_an_assignment_that_never_began_comes_as_a_tombstone(cast, app, coach):
    given = assign(cast, starts_on=date(2026, 3, 9))
    copy = Copy(app)
    copy.catch_up()
    address = f"/api/v1/clients/{cast.client.uid}/assignments/{given.uid}"
    assert coach.delete(address, headers={"If-Match": '"1"'}).status_code == 204
    assert ("assignment", str(given.uid)) in tombstones(copy.catch_up())
    assert copy.held == what_gets_say(app, cast.client)


def test_pages_of_one_record_bring_all_of_them(cast, coach):
    add_one_of_each(coach, cast)
    whole, bit_by_bit = Copy(coach), Copy(coach, page_size=1)
    whole.catch_up()
    answers = bit_by_bit.catch_up()
    assert bit_by_bit.held == whole.held
    assert [len(answer["items"]) for answer in answers] == [1] * len(whole.held)


def test_nothing_new_gives_the_same_mark_again(app, signed_in, cast):
    mark = app.get(CHANGES).json()["mark"]
    assert app.get(CHANGES, {"since": mark}).json() == {"items": [], "mark": mark, "has_more": False}
    nothing = signed_in(cast.stranger).get(CHANGES).json()
    assert nothing["items"] == []
    assert signed_in(cast.stranger).get(CHANGES, {"since": nothing["mark"]}).json() == nothing


def test_what_a_post_says_of_its_scheduled_session_is_told(cast, app):
    assign(cast)
    copy = Copy(app)
    copy.catch_up()
    put(app)
    assert kinds(copy.catch_up()) == ["client", "scheduled_session", "session"]
    assert copy.held == what_gets_say(app, cast.client)


def test_a_session_moved_to_another_scheduled_one_tells_both(cast, app):
    assign(cast)
    rows = list(ScheduledSession.objects.order_by("due_on"))
    uid = put(app, scheduled_session=str(rows[0].uid))
    copy = Copy(app)
    copy.catch_up()
    moved = {"scheduled_session": str(rows[1].uid)}
    assert (
        app.patch(f"/api/v1/sessions/{uid}", moved, format="json", headers={"If-Match": '"1"'}).status_code
        == 200
    )
    copy.catch_up()
    assert copy.held == what_gets_say(app, cast.client)


def test_a_report_given_to_a_session_later_comes_within_it(cast, app):
    uid = put(app, pain_reports=[])
    copy = Copy(app)
    copy.catch_up()
    report = pain_body(session=str(uid))
    assert app.put(f"/api/v1/pain-reports/{uuid.uuid4()}", report, format="json").status_code == 201
    copy.catch_up()
    assert copy.of("pain_report") == {}
    assert len(copy.of("session")[str(uid)]["pain_reports"]) == 1
    assert copy.held == what_gets_say(app, cast.client)


def test_a_confirmed_load_is_told(cast, app):
    put(app, performed_at="2026-02-20T18:00:00+01:00", ended_at=None, pain_reports=[])
    slip = set_body(load=200)
    put(app, sets=[slip], pain_reports=[])
    copy = Copy(app)
    copy.catch_up()
    assert app.post(f"/api/v1/sets/{slip['id']}/confirmation").status_code == 200
    assert "session" in kinds(copy.catch_up())
    assert copy.held == what_gets_say(app, cast.client)


def test_a_day_that_comes_is_told_by_its_night(cast, app, time_machine):
    assign(cast, starts_on=date(2026, 3, 5))
    copy = Copy(app)
    copy.catch_up()
    pass_days(time_machine, 4)
    copy.catch_up()
    assert copy.held == what_gets_say(app, cast.client)
    states = [row["adherence"] and row["adherence"]["state"] for row in copy.of("scheduled_session").values()]
    assert states.count("unknown") == 1


def test_alerts_opened_told_anew_and_closed_by_findings_are_told(cast, coach):
    def night(on, findings):
        apply_findings(
            practice_id=cast.practice.id,
            client_ids=[cast.client.id],
            findings=findings,
            kinds=["silent"],
            on=on,
            now=NOW,
        )

    copy = Copy(coach)
    copy.catch_up()
    seen = Finding(cast.client.id, "silent", "", 30, "Nothing for days.", {}, "test 1")
    for on, findings, status in [
        (date(2026, 3, 2), [seen], "open"),
        (date(2026, 3, 3), [seen], "open"),
        (date(2026, 3, 4), [], "closed"),
    ]:
        night(on, findings)
        assert kinds(copy.catch_up()) == ["alert"]
        assert [row["status"] for row in copy.of("alert").values()] == [status]
        assert (
            copy.of("alert").items()
            <= {
                uid: row for (kind, uid), row in what_gets_say(coach, cast.client).items() if kind == "alert"
            }.items()
        )


def test_what_a_coach_does_to_an_alert_is_told(cast, app, coach):
    put(app, pain_reports=[pain_body(id=str(uuid.uuid4()), pain=8, explanation="A long day on stairs")])
    copy = Copy(coach)
    copy.catch_up()
    alert = Alert.objects.get()
    answer = coach.post(f"/api/v1/alerts/{alert.uid}/acknowledgement", headers={"If-Match": '"1"'})
    assert answer.status_code == 200
    assert kinds(copy.catch_up()) == ["alert"]
    assert copy.of("alert")[str(alert.uid)] == answer.json()


def test_a_clearance_tells_the_red_flag_it_ends(cast, app, coach):
    flagged = pain_body(
        id=str(uuid.uuid4()), symptoms={"night_pain": "yes"}, reported_at="2026-03-01T18:00:00Z"
    )
    put(app, performed_at="2026-03-01T18:00:00+01:00", ended_at=None, pain_reports=[flagged])
    copy = Copy(app)
    copy.catch_up()
    assert [row["status"] for row in copy.of("alert").values()] == ["open"]
    Alert.objects.update(seen_on=date(2026, 3, 1))
    add_one_of_each(coach, cast)
    copy.catch_up()
    assert [row["status"] for row in copy.of("alert").values()] == ["closed"]
    assert copy.held == what_gets_say(app, cast.client)


def test_a_new_emergency_text_is_told_with_the_alerts_that_name_it(cast, app, coach):
    put(app, pain_reports=[pain_body(id=str(uuid.uuid4()), pain=8, explanation="A long day on stairs")])
    copy = Copy(app)
    copy.catch_up()
    version = Client.objects.get(id=cast.client.id).version
    renamed = coach.patch(
        f"/api/v1/clients/{cast.client.uid}",
        {"emergency_text": "999"},
        format="json",
        headers={"If-Match": f'"{version}"'},
    )
    assert renamed.status_code == 200
    assert kinds(copy.catch_up()) == ["alert", "client"]
    assert copy.held == what_gets_say(app, cast.client)


def test_a_plan_with_a_new_name_is_told_with_its_assignments(cast, app):
    plan = assign(cast).plan_version.plan
    copy = Copy(app)
    copy.catch_up()
    lift = Exercise.objects.get(code="hack_squat_invented")
    rewrite_plan(
        actor=actor_of(cast.coach),
        plan_uid=plan.uid,
        content=plan_content(lift, name="Renamed"),
        expected_version=1,
        now=NOW,
    )
    assert kinds(copy.catch_up()) == ["assignment"]
    assert copy.held == what_gets_say(app, cast.client)


def test_an_invitation_accepted_is_told_to_the_coach(cast, coach, signed_in):
    newcomer = ClientFactory(coach=cast.coach, account=None)
    copy = Copy(coach, client=str(newcomer.uid))
    copy.catch_up()
    invited = coach.post(
        "/api/v1/invitations",
        {"role": "client", "email": "nora@example.org", "client": str(newcomer.uid)},
        format="json",
    )
    assert invited.status_code == 201, invited.content
    invitation, token = Invitation.objects.get(), "x" * 43
    Invitation.objects.filter(id=invitation.id).update(token_digest=digest_of(token))
    body = {"token": token, "password": PASSWORD, "device_name": "any", "name": "Nora"}
    accepted = APIClient().post("/api/v1/invitations/accept", body, format="json")
    assert accepted.status_code in (200, 201), accepted.content
    copy.catch_up()
    assert copy.of("client")[str(newcomer.uid)]["has_account"] is True


def test_a_client_sees_no_clearance_no_private_note_and_no_sign_of_them(cast, app, coach):
    *_, clearance, note, _ = add_one_of_each(coach, cast, shared=False)
    answers = Copy(app).catch_up()
    seen = {item["id"] for answer in answers for item in answer["items"]}
    assert not {clearance["id"], note["id"]} & seen
    assert tombstones(answers) == set()


def test_a_client_sees_the_shape_that_clients_see(cast, app):
    put(app, pain_reports=[pain_body(id=str(uuid.uuid4()), pain=8, explanation="A long day on stairs")])
    copy = Copy(app)
    copy.catch_up()
    assert "private_note" not in copy.of("client")[str(cast.client.uid)]
    (alert,) = copy.of("alert").values()
    assert alert["caution"]
    assert "evidence" not in alert


def test_nobody_sees_the_clients_of_others(cast, app, signed_in):
    put(app)
    for other in (cast.stranger, cast.colleague, cast.colleagues_client, cast.strangers_client):
        answer = signed_in(other).get(CHANGES)
        assert (answer.status_code, answer.json()["items"]) == (200, [])
        assert signed_in(other).get(CHANGES, {"client": str(cast.client.uid)}).status_code == 404


def test_the_owner_sees_everybody_and_may_ask_for_one(cast, app, signed_in):
    put(app)
    put(signed_in(cast.colleagues_client))
    whole, one = Copy(signed_in(cast.owner)), Copy(signed_in(cast.owner), client=str(cast.client.uid))
    whole.catch_up()
    one.catch_up()
    assert len(whole.of("session")) == 2
    assert one.held == what_gets_say(signed_in(cast.owner), cast.client)


def hand_over(owner, cast, to):
    version = Client.objects.get(id=cast.client.id).version
    answer = owner.patch(
        f"/api/v1/clients/{cast.client.uid}",
        {"coach": str(to.uid)},
        format="json",
        headers={"If-Match": f'"{version}"'},
    )
    assert answer.status_code == 200, answer.content


def test_who_takes_a_client_over_gets_all_there_is_and_who_gave_gets_no_tombstones(cast, coach, signed_in):
    add_one_of_each(coach, cast)
    gone = put(signed_in(cast.client))
    assert (
        signed_in(cast.client).delete(f"/api/v1/sessions/{gone}", headers={"If-Match": '"1"'}).status_code
        == 204
    )
    put(signed_in(cast.colleagues_client))
    giver, taker = Copy(coach), Copy(signed_in(cast.colleague))
    giver.catch_up()
    taker.catch_up()
    hand_over(signed_in(cast.owner), cast, cast.colleague)
    taker.catch_up()
    own = what_gets_say(taker.api, cast.colleagues_client)
    assert taker.held == own | what_gets_say(taker.api, cast.client)
    assert giver.catch_up()[0]["items"] == []


def test_who_covers_gets_all_there_is(cast, coach, signed_in):
    add_one_of_each(coach, cast)
    cover = Copy(signed_in(cast.colleague))
    cover.catch_up()
    answer = coach.patch(
        f"/api/v1/memberships/{cast.coach.uid}",
        {"cover": str(cast.colleague.uid)},
        format="json",
        headers={"If-Match": '"1"'},
    )
    assert answer.status_code == 200, answer.content
    cover.catch_up()
    assert cover.held == what_gets_say(cover.api, cast.client)


def test_clients_of_a_coach_who_leaves_come_to_the_one_who_takes_them(cast, app, coach, signed_in):
    put(app)
    put(signed_in(cast.colleagues_client))
    taker = Copy(signed_in(cast.colleague))
    taker.catch_up()
    left = signed_in(cast.owner).delete(
        f"/api/v1/memberships/{cast.coach.uid}?hand_over_to={cast.colleague.uid}",
        headers={"If-Match": '"1"'},
    )
    assert left.status_code == 204, left.content
    taker.catch_up()
    assert len(taker.of("session")) == 2
    assert coach.get(CHANGES).status_code == 401


def test_an_archived_client_is_out_at_once(cast, app):
    Client.objects.filter(id=cast.client.id).update(archived_at=NOW)
    assert app.get(CHANGES).status_code == 401


def test_of_an_erased_client_there_is_nothing_and_later_changes_still_come(cast, coach, signed_in):
    other = ClientFactory(coach=cast.coach)
    ConsentFactory(client=other)
    put(signed_in(cast.client))
    copy = Copy(coach)
    copy.catch_up()
    Change.objects.filter(client=cast.client).delete()
    put(signed_in(other))
    assert kinds(copy.catch_up()) == ["client", "session"]
    assert kinds(Copy(coach).catch_up()) == ["client", "session"]


def test_the_reading_is_audited_once_an_hour_for_each_kind_that_came(cast, app, coach):
    put(app)
    for _ in range(3):
        Copy(coach).catch_up()
    rows = AuditEvent.objects.filter(action="read", account_id=cast.coach.account_id)
    assert sorted(rows.values_list("record_kind", "subject_key")) == [
        ("client", cast.client.audit_key),
        ("session", cast.client.audit_key),
    ]


def test_number_of_queries_does_not_grow_with_the_records(cast, app, coach):
    def cost():
        with CaptureQueriesContext(connection) as captured:
            answer = coach.get(CHANGES, {"page_size": 200})
        assert not answer.json()["has_more"]
        return len(captured), len(answer.json()["items"])

    assign(cast)
    add_one_of_each(coach, cast)
    put(app, pain_reports=[pain_body(id=str(uuid.uuid4()), pain=8, explanation="A long day on stairs")])
    coach.get(CHANGES)
    few, items = cost()
    for number in range(4):
        another = ClientFactory(coach=cast.coach)
        ConsentFactory(client=another)
        add_one_of_each(coach, replace(cast, client=another))
        assign(replace(cast, client=another), name=f"Plan {number}")
        put(
            coach,
            client=str(another.uid),
            pain_reports=[pain_body(id=str(uuid.uuid4()), pain=8, explanation="A long day on stairs")],
        )
    many, more_items = cost()
    assert more_items >= 4 * items
    assert many == few <= 40


HOSTILE = [
    "since=",
    "since=1",
    "since=1.x",
    "since=%00",
    "since=" + "9" * 101,
    "since=1&since=2",
    "since[]=1",
    "since=%ed%a0%80",
    "page_size=0",
    "page_size=201",
    "page_size=-1",
    "page_size=1e2",
    "page_size=%D9%A1",
    "page_size=" + "9" * 400,
    "page_size=",
    "client=1",
    "client=%00",
    "client=00000000-0000-0000-0000-000000000000",
    "cursor=abc",
    "mark=1",
]


@pytest.mark.parametrize("query", HOSTILE)
def test_odd_queries_are_refused(app, query):
    answer = app.get(f"{CHANGES}?{query}")
    assert answer.status_code == 400, answer.content
    assert answer.headers["Content-Type"] == "application/problem+json"


def test_a_mark_is_good_only_for_who_asked_and_for_what_was_asked(cast, app, coach, signed_in):
    put(app)
    mark = coach.get(CHANGES).json()["mark"]
    named = {"client": str(cast.client.uid)}
    of_one = coach.get(CHANGES, named).json()["mark"]
    assert coach.get(CHANGES, named | {"since": of_one}).status_code == 200
    for refused in (
        coach.get(CHANGES, named | {"since": mark}),
        coach.get(CHANGES, {"since": of_one}),
        app.get(CHANGES, {"since": mark}),
        signed_in(cast.owner).get(CHANGES, {"since": mark}),
    ):
        assert (refused.status_code, refused.json()["type"]) == (400, "/problems/bad_mark")


def test_a_mark_from_before_a_restored_backup_is_refused(cast, coach):
    mark = mark_signer(actor_of(cast.coach), "").sign(str(10**12))
    refused = coach.get(CHANGES, {"since": mark})
    assert (refused.status_code, refused.json()["type"]) == (400, "/problems/bad_mark")


def test_nobody_reads_the_feed_without_a_token(db):
    assert APIClient().get(CHANGES).status_code == 401


def test_what_was_there_before_the_feed_is_told_by_the_migration(cast, app, coach):
    assign(cast)
    add_one_of_each(coach, cast)
    put(app, pain_reports=[pain_body(id=str(uuid.uuid4()), pain=8, explanation="A long day on stairs")])
    deleted = put(app)
    app.delete(f"/api/v1/sessions/{deleted}", headers={"If-Match": '"1"'})
    Change.objects.all().delete()
    migration = importlib.import_module("coaching.migrations.0005_changes_feed")
    migration.tell_what_is_there(apps, connection.schema_editor())
    copy = Copy(coach, client=str(cast.client.uid))
    copy.catch_up()
    assert copy.held == what_gets_say(coach, cast.client)
