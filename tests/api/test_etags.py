"""An ETag moves with whatever its record shows, be it edited, derived, or told by another record."""

import uuid
from datetime import UTC, date, datetime

import pytest

from coaching.models import Alert, ChangeKind, ScheduledSession
from coaching.operations.alerts import Finding, apply_findings
from coaching.operations.assignments import assign_plan
from coaching.operations.plans import rewrite_plan
from tests.bodies import pain_body, session_body, set_body
from tests.factories import AlertFactory, InjuryFactory
from tests.plan_builders import actor_of, knee_lift, plan_by, plan_content

NOW = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)


class World:
    def __init__(self, cast, signed_in, time_machine):
        self.cast, self.clock = cast, time_machine
        self.app, self.coach = signed_in(cast.client), signed_in(cast.coach)
        self.base = f"/api/v1/clients/{cast.client.uid}"
        self.lift = knee_lift()

    def put(self, address, body):
        answer = self.app.put(address, body, format="json")
        assert answer.status_code == 201, answer.content
        return address

    def assign(self, starts_on=date(2026, 3, 2)):
        self.plan = plan_by(self.cast.coach, self.lift)
        return assign_plan(
            actor=actor_of(self.cast.coach),
            client_uid=self.cast.client.uid,
            plan_uid=self.plan.uid,
            starts_on=starts_on,
            override_reason="",
            now=NOW,
        ).assignment


@pytest.fixture
def world(cast, signed_in, time_machine):
    time_machine.move_to(NOW, tick=False)
    return World(cast, signed_in, time_machine)


def a_post(w):
    yield w.base
    w.put(f"/api/v1/sessions/{uuid.uuid4()}", session_body())


def an_edit_of_the_injury(w):
    address = f"{w.base}/injuries/{InjuryFactory(client=w.cast.client).uid}"
    yield address
    w.coach.patch(address, {"status": "settled"}, format="json", headers={"If-Match": '"1"'})


def a_new_name_of_the_plan(w):
    yield f"{w.base}/assignments/{w.assign().uid}"
    content = plan_content(w.lift, name="Renamed")
    rewrite_plan(
        actor=actor_of(w.cast.coach), plan_uid=w.plan.uid, content=content, expected_version=1, now=NOW
    )


def a_log_of_the_scheduled_session(w):
    w.assign()
    yield f"{w.base}/scheduled-sessions/{ScheduledSession.objects.order_by('due_on')[0].uid}"
    w.put(f"/api/v1/sessions/{uuid.uuid4()}", session_body())


def the_day_of_the_scheduled_session(w):
    w.assign(date(2026, 3, 3))
    yield f"{w.base}/scheduled-sessions/{ScheduledSession.objects.order_by('due_on')[0].uid}"
    w.clock.move_to("2026-03-20T20:00:00Z", tick=False)


def a_report_added_to_the_session(w):
    uid = uuid.uuid4()
    yield w.put(f"/api/v1/sessions/{uid}", session_body(pain_reports=[]))
    w.put(f"/api/v1/pain-reports/{uuid.uuid4()}", pain_body(session=str(uid)))


def a_confirmed_load_of_the_session(w):
    earlier = session_body(performed_at="2026-02-20T18:00:00+01:00", ended_at=None, pain_reports=[])
    w.put(f"/api/v1/sessions/{uuid.uuid4()}", earlier)
    slip = set_body(load=400)
    yield w.put(f"/api/v1/sessions/{uuid.uuid4()}", session_body(sets=[slip], pain_reports=[]))
    w.app.post(f"/api/v1/sets/{slip['id']}/confirmation")


def an_edit_of_the_report(w):
    address = w.put(f"/api/v1/pain-reports/{uuid.uuid4()}", pain_body(pain=2))
    yield address
    w.app.put(address, pain_body(pain=3), format="json", headers={"If-Match": '"1"'})


def a_night_that_saw_a_closed_alert_again(w):
    alert = AlertFactory(client=w.cast.client, kind="stalled_lift", target="back_squat:both:fresh")
    Alert.objects.filter(id=alert.id).update(
        status="closed", closing="by_coach", closed_on="2026-03-01", seen_on="2026-03-01"
    )
    yield f"/api/v1/alerts/{alert.uid}"
    finding = Finding(w.cast.client.id, alert.kind, alert.target, 2, "It stalls.", {}, "a 1")
    apply_findings(
        practice_id=w.cast.practice.id,
        client_ids=[w.cast.client.id],
        findings=[finding],
        kinds=[alert.kind],
        on=date(2026, 3, 3),
        now=NOW,
    )


def another_number_to_call_in_an_emergency(w):
    yield f"/api/v1/alerts/{AlertFactory(client=w.cast.client, kind='red_flag', evidence={'flags': []}).uid}"
    w.coach.patch(w.base, {"emergency_text": "Call 911"}, format="json", headers={"If-Match": '"1"'})


CHANGES = {
    ChangeKind.CLIENT: [a_post],
    ChangeKind.INJURY: [an_edit_of_the_injury],
    ChangeKind.ASSIGNMENT: [a_new_name_of_the_plan],
    ChangeKind.SCHEDULED_SESSION: [a_log_of_the_scheduled_session, the_day_of_the_scheduled_session],
    ChangeKind.SESSION: [a_report_added_to_the_session, a_confirmed_load_of_the_session],
    ChangeKind.PAIN_REPORT: [an_edit_of_the_report],
    ChangeKind.ALERT: [a_night_that_saw_a_closed_alert_again, another_number_to_call_in_an_emergency],
}
NEVER_EDITED = {ChangeKind.RESTRICTION, ChangeKind.CLEARANCE, ChangeKind.INTERVENTION_NOTE}


def test_every_kind_of_the_feed_is_looked_at():
    assert set(CHANGES) | NEVER_EDITED == set(ChangeKind)


@pytest.mark.parametrize(
    "change", [change for each in CHANGES.values() for change in each], ids=lambda change: change.__name__
)
def test_what_is_shown_otherwise_has_another_etag(world, change):
    steps = change(world)
    address = next(steps)
    before = world.coach.get(address)
    known = {"If-None-Match": before["ETag"]}
    assert world.coach.get(address, headers=known).status_code == 304
    assert next(steps, None) is None
    after = world.coach.get(address, headers=known)
    assert after.status_code == 200
    assert after.json() != before.json()
    assert after["ETag"] != before["ETag"]


def test_what_is_only_derived_hinders_no_edit(world):
    before = world.coach.get(world.base)
    world.put(f"/api/v1/sessions/{uuid.uuid4()}", session_body())
    edit = {"name": "Mira Press"}
    answer = world.coach.patch(world.base, edit, format="json", headers={"If-Match": before["ETag"]})
    assert answer.status_code == 200
    assert answer["ETag"] == world.coach.get(world.base)["ETag"]


def test_the_answer_to_a_write_has_the_etag_of_the_record(world):
    uid = str(uuid.uuid4())
    single = world.app.put(f"/api/v1/sessions/{uid}", session_body(), format="json")
    assert single["ETag"] == world.app.get(f"/api/v1/sessions/{uid}")["ETag"]
    items = [session_body() | {"id": str(uuid.uuid4())} for _ in range(2)]
    answer = world.app.post("/api/v1/sessions/batch", {"items": items}, format="json").json()["items"]
    for item in answer:
        assert item["etag"] == world.app.get(f"/api/v1/sessions/{item['id']}")["ETag"]
