import json
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from coaching.models import (
    AuditEvent,
    Client,
    Consent,
    Exercise,
    ExerciseAlternative,
    JointDay,
    JointStress,
    LoggedSet,
    MuscleRole,
    Night,
    Session,
)
from coaching.operations.catalogue import CATALOGUE_PATH, load_catalogue
from tests.factories import NOW, ExerciseFactory, fresh_uid

OWN = {
    "code": "belt_squat_invented",
    "name": "Belt squat off a box",
    "equipment": "machine",
    "load_basis": "total",
    "load_step_kg": "1.25",
    "movement_pattern": "squat",
    "muscles": {"direct": ["quadriceps"], "indirect": ["glutes"]},
    "stress": [{"joint": "knee", "stress": 0.5, "reason": "Upright shin, load hangs from the hips"}],
}
ANSWER = {
    "code": "belt_squat_invented",
    "name": "Belt squat off a box",
    "equipment": "machine",
    "load_basis": "total",
    "load_step_kg": "1.25",
    "load_step_lb": "2.5",
    "movement_pattern": "squat",
    "measure": "reps",
    "is_compound": False,
    "is_one_sided": False,
    "source": "practice",
    "muscles": {"direct": ["quadriceps"], "indirect": ["glutes"]},
    "stress": [
        {
            "joint": "knee",
            "stress": 0.5,
            "reason": "Upright shin, load hangs from the hips",
            "basis": "coach_judgement",
            "source": "practice",
            "version": 1,
        }
    ],
    "alternatives": [],
}
FIRST = {"If-Match": '"1"'}
JUDGEMENT = {"stress": 0.25, "reason": "Moves it without a murmur since March"}


@pytest.fixture
def lift(db):
    exercise = ExerciseFactory(code="hack_squat_invented", equipment="sled_invented")
    MuscleRole.objects.create(exercise=exercise, muscle="quadriceps", role="direct")
    JointStress.objects.create(exercise=exercise, joint="knee", stress=1.0, reason="Deep and loaded")
    return exercise


@pytest.fixture
def coach_api(cast, signed_in):
    return signed_in(cast.coach)


def stress_of(api, address):
    return {row["joint"]: (row["stress"], row["source"]) for row in api.get(address).json()["stress"]}


def log_reps(client, lift, reps=10):
    session = Session.objects.create(
        practice=client.practice,
        client=client,
        performed_at=NOW,
        zone="Europe/Berlin",
        performed_on=NOW.date(),
        content_hash="x",
        received_at=NOW,
    )
    LoggedSet.objects.create(
        practice=client.practice,
        session=session,
        exercise=lift,
        position=0,
        kind="work",
        side="left",
        reps=reps,
        ended_by="target",
    )


def test_own_exercise_comes_back_whole(cast, coach_api):
    answer = coach_api.post("/api/v1/exercises", OWN, format="json")
    assert (answer.status_code, answer.json()) == (201, ANSWER)
    assert coach_api.get("/api/v1/exercises/belt_squat_invented").json() == ANSWER


def test_step_in_pounds_may_be_the_coachs_own(cast, coach_api):
    answer = coach_api.post("/api/v1/exercises", OWN | {"load_step_lb": "7.5"}, format="json")
    assert (answer.status_code, answer.json()) == (201, ANSWER | {"load_step_lb": "7.5"})


def test_catalogue_proposes_alternatives_in_its_order(cast, coach_api):
    entries = json.loads(CATALOGUE_PATH.read_text())
    shown = {}
    address = "/api/v1/exercises?page_size=50"
    while address:
        page = coach_api.get(address).json()
        shown |= {row["code"]: row["alternatives"] for row in page["items"]}
        address = page["next"]
    assert shown == {entry["code"]: entry.get("alternatives", []) for entry in entries}
    one = coach_api.get("/api/v1/exercises/barbell_bench_press").json()
    assert one["alternatives"] == shown["barbell_bench_press"] != []


def test_loading_the_catalogue_again_follows_the_fixture(db, tmp_path):
    entries = json.loads(CATALOGUE_PATH.read_text())
    entries[0]["alternatives"] = ["landmine_press"]
    changed = tmp_path / "exercises.json"
    changed.write_text(json.dumps(entries))
    load_catalogue(path=changed)
    rows = ExerciseAlternative.objects.filter(exercise__code=entries[0]["code"])
    assert [row.alternative.code for row in rows] == ["landmine_press"]


def test_own_exercise_stays_in_the_practice(cast, coach_api, signed_in):
    coach_api.post("/api/v1/exercises", OWN, format="json")
    assert signed_in(cast.colleague).get(f"/api/v1/exercises/{OWN['code']}").status_code == 200
    assert signed_in(cast.stranger).get(f"/api/v1/exercises/{OWN['code']}").status_code == 404
    assert signed_in(cast.stranger).post("/api/v1/exercises", OWN, format="json").status_code == 201


def test_code_of_the_catalogue_cannot_be_taken(cast, coach_api, lift):
    answer = coach_api.post("/api/v1/exercises", OWN | {"code": lift.code}, format="json")
    assert answer.status_code == 409
    assert not Exercise.objects.filter(practice__isnull=False).exists()


def test_own_code_cannot_be_taken_twice(cast, coach_api):
    coach_api.post("/api/v1/exercises", OWN, format="json")
    assert coach_api.post("/api/v1/exercises", OWN, format="json").status_code == 200
    answer = coach_api.post("/api/v1/exercises", OWN | {"name": "Other"}, format="json")
    assert answer.status_code == 409
    assert answer.json()["differences"][0]["pointer"] == "/name"


def test_client_reads_exercises_but_adds_none(cast, signed_in, lift):
    api = signed_in(cast.client)
    assert api.get(f"/api/v1/exercises/{lift.code}").status_code == 200
    assert api.post("/api/v1/exercises", OWN, format="json").status_code == 403
    assert api.put(f"/api/v1/exercises/{lift.code}/stress/knee", JUDGEMENT, format="json").status_code == 403


def test_nobody_reads_exercises_without_a_token(db):
    assert APIClient().get("/api/v1/exercises").status_code == 401


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"code": "Belt Squat"}, "/code"),
        ({"code": "x" * 61}, "/code"),
        ({"name": ""}, "/name"),
        ({"equipment": "teapot"}, "/equipment"),
        ({"movement_pattern": "wobble"}, "/movement_pattern"),
        ({"load_basis": "guess"}, "/load_basis"),
        ({"measure": "miles"}, "/measure"),
        ({"load_step_kg": 2.5}, "/load_step_kg"),
        ({"load_step_kg": "2.5001"}, "/load_step_kg"),
        ({"load_step_kg": "-1"}, "/load_step_kg"),
        ({"load_step_kg": "1e3"}, "/load_step_kg"),
        ({"load_step_lb": 5}, "/load_step_lb"),
        ({"load_step_lb": "five"}, "/load_step_lb"),
        ({"is_compound": "yes"}, "/is_compound"),
        ({"muscles": {"direct": ["elbow grease"], "indirect": []}}, "/muscles/direct"),
        ({"muscles": {"direct": [], "indirect": ["elbow grease"]}}, "/muscles/indirect"),
        ({"muscles": {"direct": ["glutes"], "indirect": ["glutes"]}}, "/muscles"),
        ({"muscles": {"direct": ["glutes"]}}, "/muscles/indirect"),
        ({"stress": [JUDGEMENT | {"joint": "jaw"}]}, "/stress/0/joint"),
        ({"stress": [JUDGEMENT | {"joint": "other"}]}, "/stress/0/joint"),
        ({"stress": [JUDGEMENT | {"joint": "hip", "stress": 0.7}]}, "/stress/0/stress"),
        ({"stress": [JUDGEMENT | {"joint": "hip", "reason": ""}]}, "/stress/0/reason"),
        ({"stress": [JUDGEMENT | {"joint": "hip"}] * 2}, "/stress"),
        ({"colour": "red"}, "/colour"),
    ],
)
def test_faulty_exercise_is_pointed_at_and_not_stored(cast, coach_api, changes, pointer):
    answer = coach_api.post("/api/v1/exercises", OWN | changes, format="json")
    assert answer.status_code == 422
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    assert not Exercise.objects.filter(practice__isnull=False).exists()


@pytest.mark.parametrize(
    ("query", "is_found"),
    [
        ("equipment=sled_invented", True),
        ("equipment=sled_invented&movement_pattern=squat", True),
        ("equipment=sled_invented&movement_pattern=hinge", False),
        ("equipment=sled_invented&muscle=quadriceps", True),
        ("equipment=sled_invented&muscle=lats", False),
        ("equipment=sled_invented&joint=knee", True),
        ("equipment=sled_invented&joint=wrist", False),
    ],
)
def test_list_narrows_to_what_is_asked(cast, coach_api, lift, query, is_found):
    items = coach_api.get(f"/api/v1/exercises?{query}").json()["items"]
    assert [row["code"] for row in items] == ([lift.code] if is_found else [])


def test_joint_filter_follows_the_practices_judgement(cast, coach_api, lift):
    address = f"/api/v1/exercises/{lift.code}/stress"
    coach_api.put(f"{address}/knee", {"stress": 0, "reason": "Belt, no knee travel"}, format="json")
    coach_api.put(f"{address}/wrist", JUDGEMENT, format="json")
    items = "/api/v1/exercises?equipment=sled_invented&joint="
    assert coach_api.get(f"{items}knee").json()["items"] == []
    assert len(coach_api.get(f"{items}wrist").json()["items"]) == 1


@pytest.mark.parametrize(
    "query", ["joint=jaw", "colour=red", "joint=knee&joint=hip", "cursor=%00", "page_size=0"]
)
def test_faulty_query_is_a_bad_request(cast, coach_api, query):
    assert coach_api.get(f"/api/v1/exercises?{query}").status_code == 400


def test_pages_hold_everything_once(cast, coach_api, lift):
    seen, address = [], "/api/v1/exercises?page_size=50"
    while address:
        page = coach_api.get(address).json()
        seen += [row["code"] for row in page["items"]]
        address = page["next"]
    assert sorted(seen) == sorted(Exercise.objects.values_list("code", flat=True))


def test_query_count_does_not_grow_with_the_page(cast, coach_api):
    coach_api.get("/api/v1/exercises?page_size=1")
    counts = []
    for size in (2, 50):
        with CaptureQueriesContext(connection) as captured:
            coach_api.get(f"/api/v1/exercises?page_size={size}")
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_practices_judgement_stands_above_the_catalogue_and_comes_off_again(cast, coach_api, lift):
    address = f"/api/v1/exercises/{lift.code}"
    assert coach_api.put(f"{address}/stress/knee", JUDGEMENT, format="json").status_code == 201
    assert coach_api.put(f"{address}/stress/knee", JUDGEMENT, format="json").status_code == 200
    assert stress_of(coach_api, address) == {"knee": (0.25, "practice")}
    assert coach_api.delete(f"{address}/stress/knee", headers=FIRST).status_code == 204
    assert stress_of(coach_api, address) == {"knee": (1.0, "catalogue")}
    assert coach_api.delete(f"{address}/stress/knee", headers=FIRST).status_code == 404


def test_other_practice_keeps_the_catalogues_judgement(cast, coach_api, signed_in, lift):
    coach_api.put(f"/api/v1/exercises/{lift.code}/stress/knee", JUDGEMENT, format="json")
    address = f"/api/v1/exercises/{lift.code}"
    assert stress_of(signed_in(cast.stranger), address) == {"knee": (1.0, "catalogue")}


def test_judgement_for_a_client_is_theirs_alone(cast, coach_api, signed_in, lift):
    address = f"/api/v1/clients/{cast.client.uid}/exercises/{lift.code}"
    assert coach_api.put(f"{address}/stress/knee", JUDGEMENT, format="json").status_code == 201
    assert stress_of(coach_api, address) == {"knee": (0.25, "client")}
    assert stress_of(signed_in(cast.client), address) == {"knee": (0.25, "client")}
    assert stress_of(coach_api, f"/api/v1/exercises/{lift.code}") == {"knee": (1.0, "catalogue")}
    assert coach_api.delete(f"{address}/stress/knee", headers=FIRST).status_code == 204
    assert stress_of(coach_api, address) == {"knee": (1.0, "catalogue")}


def test_client_judges_no_stress_of_their_own(cast, signed_in, lift):
    address = f"/api/v1/clients/{cast.client.uid}/exercises/{lift.code}/stress/knee"
    assert signed_in(cast.client).put(address, JUDGEMENT, format="json").status_code == 403
    assert JointStress.objects.filter(client__isnull=False).count() == 0


@pytest.mark.parametrize("who", ["stranger", "colleague"])
def test_client_of_another_coach_is_not_found(cast, signed_in, lift, who):
    api = signed_in(getattr(cast, who))
    address = f"/api/v1/clients/{cast.client.uid}/exercises/{lift.code}"
    assert api.get(address).status_code == 404
    assert api.put(f"{address}/stress/knee", JUDGEMENT, format="json").status_code == 404
    assert api.delete(f"{address}/stress/knee", headers=FIRST).status_code == 404


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"stress": 0.3, "reason": "x"}, "/stress"),
        ({"stress": True, "reason": "x"}, "/stress"),
        ({"stress": "0.5", "reason": "x"}, "/stress"),
        ({"stress": 0.5}, "/reason"),
        ({"stress": 0.5, "reason": "x" * 301}, "/reason"),
        ({"stress": 0.5, "reason": "x", "joint": "hip"}, "/joint"),
    ],
)
def test_faulty_judgement_is_pointed_at_and_not_stored(cast, coach_api, lift, body, pointer):
    answer = coach_api.put(f"/api/v1/exercises/{lift.code}/stress/knee", body, format="json")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert not JointStress.objects.filter(practice__isnull=False).exists()


@pytest.mark.parametrize("joint", ["jaw", "other", "KNEE", "%00"])
def test_joint_that_is_none_is_not_found(cast, coach_api, lift, joint):
    address = f"/api/v1/exercises/{lift.code}/stress/{joint}"
    assert coach_api.put(address, JUDGEMENT, format="json").status_code == 404


def test_unknown_exercise_or_client_is_not_found(cast, coach_api, lift):
    assert coach_api.get("/api/v1/exercises/no_such_lift").status_code == 404
    assert coach_api.get(f"/api/v1/clients/{fresh_uid()}/exercises/{lift.code}").status_code == 404


def test_judgement_for_a_client_needs_consent(cast, coach_api, lift):
    Consent.objects.filter(client=cast.client).update(withdrawn_at=NOW)
    address = f"/api/v1/clients/{cast.client.uid}/exercises/{lift.code}/stress/knee"
    answer = coach_api.put(address, JUDGEMENT, format="json")
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/consent_missing")
    assert not JointStress.objects.filter(client__isnull=False).exists()


def test_new_stress_recomputes_the_days_already_logged(cast, coach_api, lift):
    log_reps(cast.client, lift)
    log_reps(cast.colleagues_client, lift)
    address = f"/api/v1/clients/{cast.client.uid}/exercises/{lift.code}/stress/knee"
    coach_api.put(address, JUDGEMENT, format="json")
    assert JointDay.objects.get(client=cast.client).joint_reps == 2.5
    coach_api.put(f"/api/v1/exercises/{lift.code}/stress/knee", JUDGEMENT | {"stress": 0.5}, format="json")
    assert JointDay.objects.get(client=cast.client).joint_reps == 2.5
    assert JointDay.objects.get(client=cast.colleagues_client).joint_reps == 5
    coach_api.delete(address, headers=FIRST)
    assert JointDay.objects.get(client=cast.client).joint_reps == 5


def test_new_stress_sends_finished_nights_back_to_look_again(cast, coach_api, lift):
    log_reps(cast.client, lift)
    Night.objects.create(
        practice=cast.practice, night_on=date(2026, 3, 3), zone="Europe/Berlin", status="done", planned_at=NOW
    )
    address = f"/api/v1/clients/{cast.client.uid}/exercises/{lift.code}/stress/knee"
    coach_api.put(address, JUDGEMENT, format="json")
    assert Client.objects.get(id=cast.client.id).dirty_from_on == NOW.date()


def test_changes_and_readings_of_a_clients_stress_are_audited(cast, coach_api, lift):
    address = f"/api/v1/clients/{cast.client.uid}/exercises/{lift.code}"
    coach_api.put(f"{address}/stress/knee", JUDGEMENT, format="json")
    coach_api.get(address)
    coach_api.delete(f"{address}/stress/knee", headers=FIRST)
    events = AuditEvent.objects.filter(subject_key=cast.client.audit_key, record_kind="exercise")
    assert [event.action for event in events.order_by("id")] == ["set_stress", "read", "drop_stress"]
