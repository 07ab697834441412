"""Without consent nothing about health is stored; once it is withdrawn, nobody works with what is stored."""

import uuid
from datetime import date

import pytest
import time_machine
from django.utils import timezone

from coaching.budget import Budget
from coaching.emails import send_due_mail
from coaching.models import (
    Alert,
    BodyMass,
    Clearance,
    Consent,
    Injury,
    InterventionNote,
    JointStress,
    LoggedSet,
    MailRow,
    NightClient,
    PainReport,
    Referral,
    Restriction,
    ScheduledSession,
    Score,
    Session,
    WebhookDelivery,
)
from coaching.nightly import night_by_hand, run_night
from coaching.operations.urgent import remind_of_unread_red_flags
from tests.api.test_hostile_inputs import World, site_body
from tests.bodies import pain_body, session_body
from tests.factories import NOW, AlertFactory, WebhookFactory

HEALTH = (
    Session, LoggedSet, PainReport, Injury, Restriction, Clearance, InterventionNote, Referral, BodyMass,
    JointStress,
)  # fmt: skip
SETS = "client,performed_at,exercise,reps\nMira Lift,2026-03-01T18:00:00+01:00,back_squat,5\n"
PAIN = "client,joint,side,moment,pain,reported_at\nMira Lift,knee,left,during,2,2026-03-01T18:00:00+01:00\n"


def put(path, body):
    return lambda w, api: api.put(f"/api/v1/{path(w)}", body(w))


def post(path, body):
    return lambda w, api: api.post(f"/api/v1/{path(w)}", body(w))


def of_client(more):
    return lambda w: f"clients/{w.cast.client.uid}/{more}"


def with_client(body):
    return lambda w: body | {"client": str(w.cast.client.uid)}


WRITES = {
    "session": put(lambda w: f"sessions/{uuid.uuid4()}", with_client(session_body())),
    "pain report": put(lambda w: f"pain-reports/{uuid.uuid4()}", with_client(pain_body())),
    "injury": post(of_client("injuries"), lambda w: site_body(said="Sore.")),
    "restriction": post(
        lambda w: f"clients/{w.cast.client.uid}/injuries/{w.injury.uid}/restrictions",
        lambda w: {"kind": "limit", "limit": "No jumping", "from_on": "2026-03-01", "said_by": "coach"},
    ),
    "clearance": post(
        of_client("clearances"),
        lambda w: site_body(
            clinician_name="Dana Doctor",
            clinician_profession="surgeon",
            cleared_on="2026-03-01",
            flags=["night_pain"],
        ),
    ),
    "note": post(
        of_client("intervention-notes"), lambda w: site_body(noted_on="2026-03-01", changed="Depth")
    ),
    "referral": post(
        of_client("referrals"), lambda w: site_body(question="What now?", consent_text_version="1")
    ),
    "body mass": post(
        of_client("body-masses"), lambda w: {"measured_on": "2026-03-01", "body_mass_kg": 80.5}
    ),
    "own stress": put(
        of_client("exercises/back_squat/stress/knee"), lambda w: {"stress": 0.5, "reason": "Invented"}
    ),
}


@pytest.fixture
def world(cast, signed_in):
    with time_machine.travel("2026-03-02T20:00:00Z", tick=False):
        made = World(cast, signed_in)
        assert made.injury
        yield made


def withdraw(client, how):
    if how == "missing":
        Consent.objects.filter(client=client).delete()
    else:
        Consent.objects.filter(client=client).update(withdrawn_at=NOW)


def health():
    return {model: list(model.objects.order_by("pk").values()) for model in HEALTH}


@pytest.mark.parametrize("how", ["missing", "withdrawn"])
@pytest.mark.parametrize("what", WRITES)
def test_without_consent_nothing_is_stored(world, what, how):
    withdraw(world.cast.client, how)
    before = health()
    answer = WRITES[what](world, world.sign(world.cast.coach))
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/consent_missing")
    assert health() == before


@pytest.mark.parametrize("what", WRITES)
def test_with_consent_the_same_is_stored(world, what):
    before = health()
    assert WRITES[what](world, world.sign(world.cast.coach)).status_code == 201
    assert health() != before


@pytest.mark.parametrize("how", ["missing", "withdrawn"])
def test_without_consent_no_item_of_a_batch_is_stored(world, how):
    withdraw(world.cast.client, how)
    before = health()
    body = {"items": [session_body(id=str(uuid.uuid4()), pain_reports=[]) for _ in range(2)]}
    answer = world.sign(world.cast.client).post("/api/v1/sessions/batch", body)
    problems = {item["problem"]["type"] for item in answer.json()["items"]}
    assert problems == {"/problems/consent_missing"}
    assert health() == before


@pytest.mark.parametrize("how", ["missing", "withdrawn"])
@pytest.mark.parametrize(("name", "text"), [("sessions", SETS), ("pain-reports", PAIN)], ids=["sets", "pain"])
def test_without_consent_no_row_of_a_file_is_stored(world, name, text, how):
    withdraw(world.cast.client, how)
    before = health()
    answer = world.sign(world.cast.owner).generic(
        "POST", f"/api/v1/imports/{name}", text.encode(), content_type="text/csv"
    )
    assert "consent_missing" in answer.content.decode()
    assert health() == before


def withdrawn(world):
    """Taken back by the client themselves, as the service does it."""
    device = world.sign(world.cast.client)
    assert device.delete(f"{world.client}/consents/health_data").status_code == 204
    return device


READS = (
    "injuries", "clearances", "intervention-notes", "referrals", "body-masses", "sessions", "pain-reports",
    "scores", "assignments", "scheduled-sessions", "history", "tolerated-exposure", "side-differences",
    "exports/sessions.csv", "exports/pain-reports.csv",
)  # fmt: skip


@pytest.mark.parametrize("what", READS)
def test_coaches_read_nothing_that_was_withdrawn_and_clients_read_their_own(world, what):
    coach = world.sign(world.cast.coach)
    open_before = coach.get(f"{world.client}/{what}")
    device = withdrawn(world)
    for api in (coach, world.sign(world.cast.owner)):
        closed = api.get(f"{world.client}/{what}")
        if open_before.status_code == 200:
            assert (closed.status_code, closed.json()["type"]) == (403, "/problems/consent_missing")
    if what not in ("clearances",):
        assert device.get(f"{world.client}/{what}").status_code == open_before.status_code


def test_who_withdrew_may_still_export_and_erase_and_the_owner_for_them(world):
    device = withdrawn(world)
    for api in (device, world.sign(world.cast.owner)):
        assert b"".join(api.get(f"{world.client}/export").streaming_content)
    assert world.sign(world.cast.coach).get(f"{world.client}/export").status_code == 403
    assert device.post(f"{world.client}/erasure", {"confirm": world.cast.client.name}).status_code == 200


def test_the_coach_still_sees_who_the_client_is_and_that_they_withdrew(world):
    AlertFactory(client=world.cast.client)
    coach = world.sign(world.cast.coach)
    assert len(coach.get("/api/v1/morning-sheet").json()["entries"]) == 1
    withdrawn(world)
    assert coach.get(world.client).status_code == 200
    assert coach.get(f"{world.client}/consents").status_code == 200
    sheet = coach.get("/api/v1/morning-sheet").json()
    assert sheet["entries"] == []
    assert sheet["withdrawn"] == [
        {"client": str(world.cast.client.uid), "client_name": "Mira Lift", "withdrawn_on": "2026-03-02"}
    ]


def test_alerts_of_who_withdrew_are_neither_listed_nor_touched_by_coaches(world):
    alert = AlertFactory(client=world.cast.client)
    withdrawn(world)
    coach = world.sign(world.cast.coach)
    assert coach.get("/api/v1/alerts").json()["items"] == []
    assert coach.get(f"/api/v1/alerts/{alert.uid}").status_code == 403
    answer = coach.post(f"/api/v1/alerts/{alert.uid}/acknowledgement", HTTP_IF_MATCH='"1"')
    assert answer.status_code == 403


def test_the_feed_tells_coaches_nothing_of_who_withdrew_but_all_once_it_is_given_anew(world):
    assert WRITES["injury"](world, world.sign(world.cast.coach)).status_code == 201
    coach = world.sign(world.cast.coach)
    kinds = {item["kind"] for item in coach.get("/api/v1/changes").json()["items"]}
    assert "injury" in kinds
    device = withdrawn(world)
    first = coach.get("/api/v1/changes").json()
    assert {item["kind"] for item in first["items"]} <= {"client"}
    answer = device.put(
        f"{world.client}/consents/health_data", {"text_version": "2026-01"}, HTTP_IF_MATCH='"2"'
    )
    assert answer.status_code == 201
    after = coach.get(f"/api/v1/changes?since={first['mark']}").json()
    assert "injury" in {item["kind"] for item in after["items"]}


def test_the_night_passes_by_who_withdrew(world):
    withdrawn(world)
    night = night_by_hand(practice=world.cast.practice, night_on=date(2026, 3, 3), now=timezone.now())
    run_night(night=night, now=timezone.now())
    assert not Score.objects.filter(client=world.cast.client).exists()
    assert Score.objects.filter(client=world.cast.colleagues_client).exists()
    assert not Alert.objects.filter(client=world.cast.client).exists()
    assert not NightClient.objects.filter(client=world.cast.client).exists()


def test_what_waits_to_be_sent_about_who_withdrew_is_not_sent(world, settings):
    WebhookFactory(practice=world.cast.practice)
    body = pain_body(symptoms={"night_pain": "yes"})
    device = world.sign(world.cast.client)
    assert device.put(f"/api/v1/pain-reports/{uuid.uuid4()}", body).status_code == 201
    assert MailRow.objects.filter(kind="urgent", state="waiting").exists()
    assert WebhookDelivery.objects.filter(state="waiting").exists()
    withdrawn(world)
    send_due_mail(now=timezone.now(), budget=Budget.of(5))
    assert set(MailRow.objects.values_list("state", "error_code")) == {("dead", "consent_withdrawn")}
    assert set(WebhookDelivery.objects.values_list("state", "error_code")) == {("dead", "consent_withdrawn")}
    with time_machine.travel("2026-03-03T06:00:00Z", tick=False):
        assert remind_of_unread_red_flags(now=timezone.now()) == 0


def test_no_plan_is_given_to_who_withdrew(world):
    plan = world.plan
    withdrawn(world)
    answer = world.sign(world.cast.coach).post(
        f"{world.client}/assignments", {"plan": str(plan.uid), "starts_on": "2026-03-02"}
    )
    assert answer.status_code == 403
    assert not ScheduledSession.objects.exists()


def test_who_only_gave_another_consent_anew_is_not_stopped(world):
    client = world.cast.client
    Consent.objects.create(
        practice=client.practice,
        client=client,
        purpose="referral",
        text_version="1",
        given_at=NOW,
        withdrawn_at=NOW,
    )
    assert world.sign(world.cast.coach).get(f"{world.client}/injuries").status_code == 200
