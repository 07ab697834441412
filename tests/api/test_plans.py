import copy

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from coaching.models import AuditEvent, Plan, PlanVersion, Prescription
from tests.bodies import version_of
from tests.factories import ExerciseFactory, fresh_uid

PRESCRIPTION = {
    "exercise": "box_squat_invented",
    "sets": 2,
    "reps_low": 6,
    "reps_high": 10,
    "effort_target": "failure",
    "load_rule": "from_history",
}
STEP = {"share_of_work_load": 0.5, "reps": 5, "rest_s": 30}
RAMP = {"has_warm_up_ramp": True}
HOLD = {
    "exercise": "wall_sit_invented",
    "sets": 3,
    "duration_s": 40,
    "effort_target": "reps_in_reserve",
    "rir_target": 2,
    "load_rule": "fixed",
    "load_kg": 0,
}


def plan_body(*prescriptions, kind="straight_sets", **changes):
    block = {"kind": kind, "rest_s": 90, "prescriptions": list(prescriptions) or [PRESCRIPTION]}
    day = {"weekday": 0, "name": "Legs", "blocks": [block]}
    return {"name": "Knee first", "weeks": 4, "deload_weeks": [4], "days": [day]} | changes


@pytest.fixture(autouse=True)
def lifts(db):
    return (
        ExerciseFactory(code="box_squat_invented", name="Invented box squat"),
        ExerciseFactory(code="step_up_invented", name="Invented step-up"),
        ExerciseFactory(code="leg_swing_invented", name="Invented leg swing"),
        ExerciseFactory(code="wall_sit_invented", name="Invented wall sit", measure="duration"),
    )


@pytest.fixture
def coach_api(cast, signed_in):
    return signed_in(cast.coach)


def post(api, body):
    return api.post("/api/v1/plans", body, format="json")


def put(api, plan_id, body, version=None):
    headers = {} if version is None else {"If-Match": f'"{version}"'}
    return api.put(f"/api/v1/plans/{plan_id}", body, format="json", headers=headers)


def test_written_plan_comes_back_whole(cast, coach_api):
    answer = post(coach_api, plan_body(PRESCRIPTION | {"tempo": "3-1-X-0"}, HOLD))
    assert answer.status_code == 201
    assert version_of(answer) == '"1"'
    body = answer.json()
    assert {key: body[key] for key in ("name", "author_name", "version", "weeks", "deload_weeks")} == {
        "name": "Knee first",
        "author_name": "Carl Coach",
        "version": 1,
        "weeks": 4,
        "deload_weeks": [4],
    }
    block = body["days"][0]["blocks"][0]
    row = Prescription.objects.get(exercise__code="box_squat_invented")
    assert block["prescriptions"][0] == {
        "id": str(row.uid),
        "exercise": "box_squat_invented",
        "exercise_name": "Invented box squat",
        "side": "both",
        "sets": 2,
        "reps_low": 6,
        "reps_high": 10,
        "duration_s": None,
        "effort_target": "failure",
        "rir_target": None,
        "load_rule": "from_history",
        "load_kg": None,
        "share_of_1rm": None,
        "tempo": "3-1-X-0",
        "rest_s": None,
        "has_warm_up_ramp": False,
        "warm_up_steps": [],
        "alternatives": [],
    }
    assert block["prescriptions"][1]["duration_s"] == 40
    assert coach_api.get(f"/api/v1/plans/{body['id']}").json() == body


def test_order_of_the_body_is_the_order_of_the_plan(cast, coach_api):
    body = plan_body()
    days = [copy.deepcopy(body["days"][0]) | {"name": name} for name in ("B", "A", "C")]
    answer = post(coach_api, body | {"days": days})
    assert [day["name"] for day in answer.json()["days"]] == ["B", "A", "C"]


def test_every_coach_of_the_practice_reads_the_plan(cast, coach_api, signed_in):
    plan_id = post(coach_api, plan_body()).json()["id"]
    assert signed_in(cast.colleague).get(f"/api/v1/plans/{plan_id}").status_code == 200
    assert signed_in(cast.colleague).get("/api/v1/plans").json()["items"][0]["id"] == plan_id


def test_stranger_cannot_tell_a_plan_from_nothing(cast, coach_api, signed_in):
    plan_id = post(coach_api, plan_body()).json()["id"]
    api = signed_in(cast.stranger)
    theirs = api.get(f"/api/v1/plans/{plan_id}")
    nothing = api.get(f"/api/v1/plans/{fresh_uid()}")
    assert theirs.status_code == nothing.status_code == 404
    assert theirs.json() | {"instance": ""} == nothing.json() | {"instance": ""}
    assert api.get(f"/api/v1/plans/{plan_id}/versions/1").status_code == 404
    assert put(api, plan_id, plan_body(), 1).status_code == 404
    assert api.delete(f"/api/v1/plans/{plan_id}").status_code == 404
    assert api.get("/api/v1/plans").json()["items"] == []


def test_client_may_not_read_or_write_plans(cast, signed_in):
    api = signed_in(cast.client)
    assert api.get("/api/v1/plans").status_code == 403
    assert post(api, plan_body()).status_code == 403


def test_nobody_reads_plans_without_a_token(db):
    assert APIClient().get("/api/v1/plans").status_code == 401


def test_rewriting_makes_the_next_version_and_keeps_the_last(cast, coach_api):
    first = post(coach_api, plan_body()).json()
    answer = put(coach_api, first["id"], plan_body(weeks=6), 1)
    assert answer.status_code == 200
    assert version_of(answer) == '"2"'
    assert answer.json()["weeks"] == 6
    assert coach_api.get(f"/api/v1/plans/{first['id']}/versions/1").json() == first
    assert coach_api.get(f"/api/v1/plans/{first['id']}").json()["version"] == 2


def test_same_content_again_makes_no_version(cast, coach_api):
    plan_id = post(coach_api, plan_body()).json()["id"]
    answer = put(coach_api, plan_id, plan_body())
    assert (answer.status_code, version_of(answer)) == (200, '"1"')
    assert PlanVersion.objects.count() == 1


def test_other_content_needs_the_version(cast, coach_api):
    plan_id = post(coach_api, plan_body()).json()["id"]
    assert put(coach_api, plan_id, plan_body(weeks=6)).status_code == 409


def test_stale_version_is_refused(cast, coach_api):
    plan_id = post(coach_api, plan_body()).json()["id"]
    put(coach_api, plan_id, plan_body(weeks=6), 1)
    assert put(coach_api, plan_id, plan_body(weeks=8), 1).status_code == 412
    assert PlanVersion.objects.count() == 2


def test_colleague_may_read_but_not_edit(cast, coach_api, signed_in):
    plan_id = post(coach_api, plan_body()).json()["id"]
    assert put(signed_in(cast.colleague), plan_id, plan_body(weeks=6), 1).status_code == 403
    assert PlanVersion.objects.count() == 1


def test_owner_edits_a_coachs_plan(cast, coach_api, signed_in):
    plan_id = post(coach_api, plan_body()).json()["id"]
    assert put(signed_in(cast.owner), plan_id, plan_body(weeks=6), 1).status_code == 200


def test_unknown_version_is_not_found(cast, coach_api):
    plan_id = post(coach_api, plan_body()).json()["id"]
    for number in (0, 2, 10**30):
        assert coach_api.get(f"/api/v1/plans/{plan_id}/versions/{number}").status_code == 404


def test_archived_plan_leaves_the_list_and_takes_no_edits(cast, coach_api):
    plan_id = post(coach_api, plan_body()).json()["id"]
    assert coach_api.delete(f"/api/v1/plans/{plan_id}").status_code == 428
    assert coach_api.delete(f"/api/v1/plans/{plan_id}", headers={"If-Match": '"1"'}).status_code == 204
    assert coach_api.get("/api/v1/plans").json()["items"] == []
    assert coach_api.get(f"/api/v1/plans/{plan_id}").json()["archived_at"] is not None
    assert put(coach_api, plan_id, plan_body(weeks=6), 1).status_code == 410


def test_writing_and_editing_are_audited(cast, coach_api):
    plan_id = post(coach_api, plan_body()).json()["id"]
    put(coach_api, plan_id, plan_body(weeks=6), 1)
    events = AuditEvent.objects.filter(record_kind="plan", record_id=plan_id).order_by("id")
    assert [(event.action, event.detail) for event in events] == [
        ("create", {"version": 1}),
        ("update", {"version": 2}),
    ]


P = "/days/0/blocks/0/prescriptions"
BAD_PRESCRIPTIONS = [
    ({"reps_low": 10, "reps_high": 6}, f"{P}/0/reps_high", "range_upside_down"),
    ({"sets": 0}, f"{P}/0/sets", "min_value"),
    ({"sets": 51}, f"{P}/0/sets", "max_value"),
    ({"sets": True}, f"{P}/0/sets", "invalid"),
    ({"reps_low": 0}, f"{P}/0/reps_low", "min_value"),
    ({"reps_low": None}, f"{P}/0/reps_low", "required"),
    ({"reps_high": None}, f"{P}/0/reps_high", "required"),
    ({"duration_s": 30}, f"{P}/0/duration_s", "not_for_reps"),
    ({"tempo": "slow"}, f"{P}/0/tempo", "tempo"),
    ({"tempo": "311"}, f"{P}/0/tempo", "tempo"),
    ({"tempo": "3-1-1"}, f"{P}/0/tempo", "tempo"),
    ({"tempo": "३110"}, f"{P}/0/tempo", "tempo"),
    ({"effort_target": "reps_in_reserve"}, f"{P}/0/rir_target", "required"),
    ({"rir_target": 2}, f"{P}/0/rir_target", "not_asked_for"),
    ({"effort_target": "reps_in_reserve", "rir_target": 2.3}, f"{P}/0/rir_target", "step"),
    ({"effort_target": "easy"}, f"{P}/0/effort_target", "invalid_choice"),
    ({"load_rule": "fixed"}, f"{P}/0/load_kg", "required"),
    ({"load_kg": 50}, f"{P}/0/load_kg", "not_asked_for"),
    ({"load_rule": "fixed", "load_kg": 1001}, f"{P}/0/load_kg", "max_value"),
    ({"load_rule": "share_of_1rm"}, f"{P}/0/share_of_1rm", "required"),
    ({"share_of_1rm": 0.7}, f"{P}/0/share_of_1rm", "not_asked_for"),
    ({"load_rule": "share_of_1rm", "share_of_1rm": 1.2}, f"{P}/0/share_of_1rm", "max_value"),
    ({"exercise": "no_such_lift"}, f"{P}/0/exercise", "unknown_exercise"),
    ({"side": "middle"}, f"{P}/0/side", "invalid_choice"),
    ({"rest_s": -1}, f"{P}/0/rest_s", "min_value"),
    ({"surprise": 1}, f"{P}/0/surprise", "unknown_key"),
    ({"warm_up_steps": [STEP]}, f"{P}/0/warm_up_steps", "not_asked_for"),
    (RAMP | {"warm_up_steps": [STEP, STEP]}, f"{P}/0/warm_up_steps/1/share_of_work_load", "not_ascending"),
    (RAMP | {"warm_up_steps": [STEP] * 9}, f"{P}/0/warm_up_steps", "max_length"),
    (
        RAMP | {"warm_up_steps": [STEP | {"share_of_work_load": 0.09}]},
        f"{P}/0/warm_up_steps/0/share_of_work_load",
        "min_value",
    ),
    (
        RAMP | {"warm_up_steps": [STEP | {"share_of_work_load": 1}]},
        f"{P}/0/warm_up_steps/0/share_of_work_load",
        "max_value",
    ),
    (RAMP | {"warm_up_steps": [STEP | {"reps": 0}]}, f"{P}/0/warm_up_steps/0/reps", "min_value"),
    (RAMP | {"warm_up_steps": [STEP | {"reps": 21}]}, f"{P}/0/warm_up_steps/0/reps", "max_value"),
    (RAMP | {"warm_up_steps": [STEP | {"rest_s": -1}]}, f"{P}/0/warm_up_steps/0/rest_s", "min_value"),
    ({"alternatives": ["no_such_lift"]}, f"{P}/0/alternatives/0", "unknown_exercise"),
    ({"alternatives": ["box_squat_invented"]}, f"{P}/0/alternatives/0", "same_exercise"),
    ({"alternatives": ["step_up_invented"] * 2}, f"{P}/0/alternatives/1", "repeated"),
    ({"alternatives": ["wall_sit_invented"]}, f"{P}/0/alternatives/0", "other_measure"),
    ({"alternatives": ["step_up_invented"] * 9}, f"{P}/0/alternatives", "max_length"),
    ({"alternatives": [7]}, f"{P}/0/alternatives/0", "invalid"),
]


@pytest.mark.parametrize(("changes", "pointer", "code"), BAD_PRESCRIPTIONS)
def test_faulty_prescription_is_pointed_at_and_not_stored(cast, coach_api, changes, pointer, code):
    answer = post(coach_api, plan_body(PRESCRIPTION | changes))
    assert answer.status_code == 422
    assert [(fault["pointer"], fault["code"]) for fault in answer.json()["errors"]] == [(pointer, code)]
    assert not Plan.objects.exists()


@pytest.mark.parametrize(
    ("changes", "pointer", "code"),
    [
        ({"duration_s": None}, f"{P}/0/duration_s", "required"),
        ({"reps_low": 5}, f"{P}/0/reps_low", "not_for_duration"),
        ({"reps_high": 5}, f"{P}/0/reps_high", "not_for_duration"),
        ({"has_warm_up_ramp": True}, f"{P}/0/has_warm_up_ramp", "not_for_duration"),
    ],
)
def test_faulty_hold_is_pointed_at(cast, coach_api, changes, pointer, code):
    answer = post(coach_api, plan_body(HOLD | changes))
    assert [(fault["pointer"], fault["code"]) for fault in answer.json()["errors"]] == [(pointer, code)]


@pytest.mark.parametrize("tempo", ["", "3-1-1-0", "3110", "3-1-X-0", "31x0", "10-0-1-0"])
def test_tempo_in_either_form_is_accepted(cast, coach_api, tempo):
    assert post(coach_api, plan_body(PRESCRIPTION | {"tempo": tempo})).status_code == 201


def test_back_to_back_needs_two(cast, coach_api):
    answer = post(coach_api, plan_body(PRESCRIPTION, kind="back_to_back"))
    assert answer.json()["errors"][0]["pointer"] == P
    assert post(coach_api, plan_body(PRESCRIPTION, HOLD, kind="back_to_back")).status_code == 201


SWING = PRESCRIPTION | {"exercise": "leg_swing_invented"}


@pytest.mark.parametrize(
    ("first", "second", "places"),
    [
        (["leg_swing_invented"], [], [f"{P}/0/alternatives/0"]),
        ([], ["step_up_invented", "box_squat_invented"], [f"{P}/1/alternatives/1"]),
        (["step_up_invented"], ["step_up_invented"], [f"{P}/0/alternatives/0", f"{P}/1/alternatives/0"]),
    ],
)
def test_no_swap_may_make_both_halves_of_a_pair_the_same(cast, coach_api, first, second, places):
    halves = (PRESCRIPTION | {"alternatives": first}, SWING | {"alternatives": second})
    answer = post(coach_api, plan_body(*halves, kind="back_to_back"))
    assert answer.status_code == 422
    assert [(fault["pointer"], fault["code"]) for fault in answer.json()["errors"]] == [
        (place, "cycle") for place in places
    ]
    assert not Plan.objects.exists()
    assert post(coach_api, plan_body(*halves)).status_code == 201


def test_other_practices_alternative_is_unknown(cast, coach_api):
    ExerciseFactory(code="their_lift", practice=cast.stranger.practice)
    theirs = post(coach_api, plan_body(PRESCRIPTION | {"alternatives": ["their_lift"]})).json()
    nothing = post(coach_api, plan_body(PRESCRIPTION | {"alternatives": ["no_such_lift"]})).json()
    assert theirs == nothing


def test_ramp_and_alternatives_come_back_in_the_coachs_order(cast, coach_api):
    steps = [{"share_of_work_load": share, "reps": 6, "rest_s": 45} for share in (0.4, 0.6, 0.8)]
    alternatives = ["step_up_invented", "leg_swing_invented"]
    body = RAMP | {"warm_up_steps": steps, "alternatives": alternatives}
    answer = post(coach_api, plan_body(PRESCRIPTION | body))
    asked = answer.json()["days"][0]["blocks"][0]["prescriptions"][0]
    assert (asked["warm_up_steps"], asked["alternatives"]) == (steps, alternatives)


def block_of(*prescriptions, kind="straight_sets", **changes):
    block = {"kind": kind, "prescriptions": list(prescriptions) or [PRESCRIPTION]} | changes
    return plan_body(days=[{"weekday": 0, "name": "Legs", "blocks": [block]}])


@pytest.mark.parametrize(
    ("kind", "levers"),
    [("straight_sets", ["reps", "load"]), ("back_to_back", ["reps", "load", "second_half_load"])],
)
def test_levers_left_out_are_those_of_the_kind(cast, coach_api, kind, levers):
    answer = post(coach_api, block_of(PRESCRIPTION, SWING, kind=kind))
    assert answer.json()["days"][0]["blocks"][0]["levers"] == levers


@pytest.mark.parametrize("levers", [[], ["load"], ["time", "reps"], ["tempo", "load"]])
def test_levers_stand_in_the_coachs_order(cast, coach_api, levers):
    answer = post(coach_api, block_of(PRESCRIPTION | {"tempo": "3-1-1-0"}, levers=levers))
    assert answer.json()["days"][0]["blocks"][0]["levers"] == levers


@pytest.mark.parametrize(
    ("levers", "pointer", "code"),
    [
        (["load", "load"], "/levers/1", "repeated"),
        (["second_half_load"], "/levers/0", "not_asked_for"),
        (["load", "tempo"], "/levers/1", "needs_tempo"),
        (["luck"], "/levers/0", "invalid_choice"),
        (None, "/levers", "null"),
        ("load", "/levers", "not_a_list"),
    ],
)
def test_faulty_levers_are_pointed_at_and_not_stored(cast, coach_api, levers, pointer, code):
    answer = post(coach_api, block_of(levers=levers))
    assert answer.status_code == 422
    assert [(fault["pointer"], fault["code"]) for fault in answer.json()["errors"]] == [
        (f"/days/0/blocks/0{pointer}", code)
    ]
    assert not Plan.objects.exists()


FULL = PRESCRIPTION | RAMP | {"warm_up_steps": [STEP], "alternatives": ["step_up_invented"]}


@pytest.mark.parametrize(
    "other",
    [
        block_of(FULL | {"warm_up_steps": [STEP | {"rest_s": 31}]}, levers=["load"]),
        block_of(FULL | {"alternatives": ["leg_swing_invented"]}, levers=["load"]),
        block_of(FULL, levers=["reps"]),
    ],
)
def test_ramp_alternatives_and_levers_are_content(cast, coach_api, other):
    body = block_of(FULL, levers=["load"])
    plan_id = post(coach_api, body).json()["id"]
    assert version_of(put(coach_api, plan_id, body)) == '"1"'
    assert version_of(put(coach_api, plan_id, other, 1)) == '"2"'
    asked = coach_api.get(f"/api/v1/plans/{plan_id}/versions/1").json()["days"][0]["blocks"][0]
    assert asked["levers"] == ["load"]
    assert asked["prescriptions"][0]["alternatives"] == ["step_up_invented"]


BLOCK = {"kind": "straight_sets", "prescriptions": [PRESCRIPTION | {"alternatives": ["step_up_invented"]}]}
DAY = {"weekday": 0, "name": "Legs", "blocks": [BLOCK]}


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"deload_weeks": [5]}, "/deload_weeks/0"),
        ({"deload_weeks": [0]}, "/deload_weeks/0"),
        ({"deload_weeks": [2, 2]}, "/deload_weeks/1"),
        ({"deload_weeks": ["2"]}, "/deload_weeks/0"),
        ({"weeks": 0}, "/weeks"),
        ({"weeks": 105}, "/weeks"),
        ({"name": ""}, "/name"),
        ({"name": "x" * 121}, "/name"),
        ({"days": []}, "/days"),
        ({"days": [DAY] * 15}, "/days"),
        ({"days": [DAY | {"weekday": 7}]}, "/days/0/weekday"),
        ({"days": [DAY | {"weekday": -1}]}, "/days/0/weekday"),
        ({"days": [DAY | {"blocks": []}]}, "/days/0/blocks"),
        ({"days": [DAY | {"blocks": [BLOCK] * 21}]}, "/days/0/blocks"),
        ({"days": [DAY | {"blocks": [BLOCK | {"prescriptions": []}]}]}, P),
        ({"days": [DAY | {"blocks": [BLOCK | {"prescriptions": [PRESCRIPTION] * 11}]}]}, P),
        ({"days": [DAY | {"blocks": [BLOCK | {"kind": "circuit"}]}]}, "/days/0/blocks/0/kind"),
        ({"days": ["Monday"]}, "/days/0"),
        ({"days": "Monday"}, "/days"),
    ],
)
def test_faulty_plan_is_pointed_at_and_not_stored(cast, coach_api, changes, pointer):
    answer = post(coach_api, plan_body(**changes))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert not Plan.objects.exists()


def test_other_practices_exercise_is_unknown(cast, coach_api):
    ExerciseFactory(code="their_lift", practice=cast.stranger.practice)
    theirs = post(coach_api, plan_body(PRESCRIPTION | {"exercise": "their_lift"})).json()
    nothing = post(coach_api, plan_body(PRESCRIPTION | {"exercise": "no_such_lift"})).json()
    assert theirs == nothing


def test_query_count_does_not_grow_with_the_plan(cast, coach_api):
    small = post(coach_api, plan_body(days=[DAY])).json()["id"]
    large = post(coach_api, plan_body(days=[DAY | {"blocks": [BLOCK] * 10}] * 10)).json()["id"]
    assert queries_of(coach_api, small) == queries_of(coach_api, large)


def queries_of(api, plan_id):
    with CaptureQueriesContext(connection) as captured:
        assert api.get(f"/api/v1/plans/{plan_id}").status_code == 200
    return len(captured)
