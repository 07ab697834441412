from datetime import date

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import AuditEvent, Exercise, JointStress, MuscleRole, Restriction
from tests.factories import NOW, ExerciseFactory, InjuryFactory, fresh_uid

MUSCLE = "invented_muscle"


@pytest.fixture(autouse=True)
def monday_noon():
    with time_machine.travel(NOW, tick=False):
        yield


def exercise(code, stress, *, indirect=(), **fields):
    """One that trains the invented muscle directly, so that nothing of the catalogue is in the way."""
    row = ExerciseFactory(code=code, name=code.replace("_", " ").capitalize(), **fields)
    MuscleRole.objects.create(exercise=row, muscle=MUSCLE, role="direct")
    for muscle in indirect:
        MuscleRole.objects.create(exercise=row, muscle=muscle, role="indirect")
    for joint, level in stress.items():
        JointStress.objects.create(exercise=row, joint=joint, stress=level, reason="Invented")
    return row


@pytest.fixture
def squat(db):
    return exercise("deep_invented", {"knee": 1.0, "hip": 0.5}, indirect=["glutes"])


@pytest.fixture
def box(db):
    return exercise("box_invented", {"knee": 0.5, "hip": 1.0}, indirect=["glutes"], movement_pattern="hinge")


@pytest.fixture
def hold(db):
    return exercise("hold_invented", {"knee": 0.25})


@pytest.fixture
def coach_api(cast, signed_in, squat):
    return signed_in(cast.coach)


def ask(api, **query):
    return api.get("/api/v1/exercises/deep_invented/swaps", {"joint": "knee", "side": "left"} | query)


def codes(answer):
    return [swap["exercise"] for swap in answer.json()["swaps"]]


def test_swaps_come_back_whole(coach_api, box):
    assert ask(coach_api).json() == {
        "exercise": "deep_invented",
        "exercise_name": "Deep invented",
        "joint": "knee",
        "side": "left",
        "stress_now": 1.0,
        "computed": {
            "method": "shared_muscles_and_joint_stress",
            "version": "1",
            "from_on": None,
            "until_on": "2026-03-02",
        },
        "swaps": [
            {
                "exercise": "box_invented",
                "exercise_name": "Box invented",
                "movement_pattern": "hinge",
                "equipment": "barbell",
                "stress_before": 1.0,
                "stress_after": 0.5,
                "share_kept": 1.0,
                "direct_lost": [],
                "indirect_lost": [],
                "direct_gained": [],
                "indirect_gained": [],
                "other_stress": 0.0,
                "stress_changes": [
                    {"joint": "hip", "before": 0.5, "after": 1.0},
                    {"joint": "knee", "before": 1.0, "after": 0.5},
                ],
                "word_changes": [{"what": "movement_pattern", "before": "squat", "after": "hinge"}],
                "reasons": [
                    "asks 0.5 instead of 1 of the knee",
                    "keeps 100% of the muscle roles",
                    "asks more of the hip: 1, was 0.5",
                ],
            }
        ],
        "left_out": [],
        "guarded": [],
        "sentence": (
            "Deep invented asks 1 of the left knee; what asks less and keeps its direct muscles, best first. "
            "Whether to swap, and to what load, is yours to say."
        ),
    }


def test_least_stress_comes_first_with_what_is_lost(coach_api, box, hold):
    answer = ask(coach_api)
    assert codes(answer) == ["hold_invented", "box_invented"]
    assert answer.json()["swaps"][0]["indirect_lost"] == ["glutes"]
    assert "no longer trains: glutes" in answer.json()["swaps"][0]["reasons"]


def test_exercise_that_asks_nothing_of_the_joint_has_none(coach_api, box):
    answer = ask(coach_api, joint="wrist")
    assert codes(answer) == []
    assert answer.json()["sentence"].startswith("Deep invented asks nothing of the left wrist")


def test_nothing_that_fits_is_told_as_such(coach_api):
    assert ask(coach_api).json()["sentence"] == (
        "No exercise that may be used keeps the direct muscles of Deep invented and asks less of the "
        "left knee."
    )


def restrict(client, **fields):
    fields = {"from_on": date(2026, 3, 1), "said_by": "clinician"} | fields
    return Restriction.objects.create(
        practice=client.practice, injury=InjuryFactory(client=client, status="settled"), **fields
    )


def test_what_the_client_is_to_avoid_is_left_out_and_named(cast, coach_api, box, hold):
    restrict(cast.client, kind="avoid_exercise", exercise=hold)
    restrict(cast.client, kind="avoid_pattern", movement_pattern="hinge")
    answer = ask(coach_api, client=str(cast.client.uid))
    assert (codes(answer), answer.json()["left_out"]) == ([], ["hold_invented", "box_invented"])
    assert codes(ask(coach_api)) == ["hold_invented", "box_invented"]


def test_restriction_that_is_over_leaves_nothing_out(cast, coach_api, hold):
    restrict(cast.client, kind="avoid_exercise", exercise=hold, until_on=date(2026, 3, 1))
    assert codes(ask(coach_api, client=str(cast.client.uid))) == ["hold_invented"]


def test_clients_own_stress_counts(cast, coach_api, box, hold):
    JointStress.objects.create(
        exercise=hold, joint="knee", stress=1.0, reason="Sore", practice=cast.practice, client=cast.client
    )
    assert codes(ask(coach_api, client=str(cast.client.uid))) == ["box_invented"]
    assert codes(ask(coach_api)) == ["hold_invented", "box_invented"]


def test_practices_stress_counts_and_another_ones_does_not(cast, signed_in, coach_api, hold):
    JointStress.objects.create(exercise=hold, joint="knee", stress=1.0, reason="Sore", practice=cast.practice)
    assert codes(ask(coach_api)) == []
    assert codes(ask(signed_in(cast.stranger))) == ["hold_invented"]


def test_other_guarded_joints_are_minded(cast, coach_api, box):
    milder = exercise("milder_invented", {"knee": 0.5, "hip": 0.25}, indirect=["glutes"])
    InjuryFactory(client=cast.client, joint="hip")
    InjuryFactory(client=cast.client, joint="other", other_site="jaw")
    answer = ask(coach_api, client=str(cast.client.uid))
    assert codes(answer) == [milder.code, box.code]
    assert answer.json()["guarded"] == ["hip"]
    assert [swap["other_stress"] for swap in answer.json()["swaps"]] == [0.25, 1.0]


def test_other_practices_exercises_are_invisible(cast, signed_in, coach_api):
    exercise("theirs_invented", {"knee": 0.25}, practice=cast.strangers_client.practice)
    assert codes(ask(coach_api)) == []
    assert codes(ask(signed_in(cast.stranger))) == ["theirs_invented"]
    theirs = coach_api.get("/api/v1/exercises/theirs_invented/swaps?joint=knee&side=left")
    assert theirs.status_code == 404


def test_practices_own_entry_stands_for_the_catalogues(cast, coach_api, hold):
    exercise("hold_invented", {"knee": 1.0}, practice=cast.practice)
    assert codes(ask(coach_api)) == []


@pytest.mark.parametrize(
    ("query", "named"),
    [
        ({"joint": "tooth"}, "joint"),
        ({"joint": "other"}, "joint"),
        ({"joint": ""}, "joint"),
        ({"side": "both"}, "side"),
        ({"side": "midline"}, "side"),
        ({"joint": "neck", "side": "left"}, "side"),
        ({"client": "7"}, "client"),
        ({"mood": "good"}, "mood"),
    ],
)
def test_faulty_query_is_named(coach_api, query, named):
    answer = ask(coach_api, **query)
    assert answer.status_code == 400
    assert answer.json()["detail"].startswith(f"{named}: ")


@pytest.mark.parametrize("left_out", ["joint", "side"])
def test_joint_and_side_must_be_there(coach_api, left_out):
    query = {"joint": "knee", "side": "left"}
    query.pop(left_out)
    answer = coach_api.get("/api/v1/exercises/deep_invented/swaps", query)
    assert (answer.status_code, answer.json()["detail"]) == (400, f"{left_out}: This field is required.")


def test_unknown_exercise_is_not_found(coach_api):
    assert coach_api.get("/api/v1/exercises/nothing/swaps?joint=knee&side=left").status_code == 404


@pytest.mark.parametrize("who", ["stranger", "colleague", "colleagues_client"])
def test_client_of_another_is_not_found(cast, signed_in, squat, who):
    assert ask(signed_in(getattr(cast, who)), client=str(cast.client.uid)).status_code == 404


def test_unknown_client_is_not_found(coach_api):
    assert ask(coach_api, client=str(fresh_uid())).status_code == 404


def test_client_gets_their_own(cast, signed_in, squat, hold):
    restrict(cast.client, kind="avoid_exercise", exercise=hold)
    assert codes(ask(signed_in(cast.client))) == []


def test_reading_for_a_client_is_audited_and_for_none_is_not(cast, coach_api):
    ask(coach_api)
    assert not AuditEvent.objects.filter(record_kind="swaps").exists()
    ask(coach_api, client=str(cast.client.uid))
    event = AuditEvent.objects.get(record_kind="swaps")
    assert (event.action, event.subject_key) == ("read", cast.client.audit_key)


def test_number_of_queries_does_not_grow(cast, coach_api, box):
    with CaptureQueriesContext(connection) as few:
        ask(coach_api, client=str(cast.client.uid))
    for number in range(5):
        other = exercise(f"other_invented_{number}", {"knee": 0.5})
        restrict(cast.client, kind="avoid_exercise", exercise=other)
    with CaptureQueriesContext(connection) as many:
        ask(coach_api, client=str(cast.client.uid))
    assert len(many) <= len(few)


def test_catalogue_spares_the_knee_of_a_squat(cast, coach_api):
    assert Exercise.objects.filter(code="back_squat", practice=None).exists()
    answer = coach_api.get("/api/v1/exercises/back_squat/swaps?joint=knee&side=left").json()
    assert answer["swaps"]
    assert all(swap["stress_after"] < swap["stress_before"] for swap in answer["swaps"])
    assert all(swap["direct_lost"] == [] for swap in answer["swaps"])
