"""Advice for a scheduled session: its whole answer, what holds it back, who may see it, what it costs."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import (
    Assignment,
    AuditEvent,
    Clearance,
    Injury,
    JointStress,
    Prescription,
    Restriction,
    ScheduledSession,
)
from coaching.operations.assignments import assign_plan
from coaching.operations.plans import write_plan
from coaching.reads.plans import BlockContent, DayContent, PlanContent
from tests.factories import NOW, AlertFactory, ExerciseFactory
from tests.plan_builders import actor_of, knee_lift, prescription

MONDAY = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def second_monday_noon():
    with time_machine.travel(NOW + timedelta(days=7), tick=False):
        yield


@pytest.fixture
def client_api(cast, signed_in):
    return signed_in(cast.client)


def calendar(cast, *rows, starts_on=MONDAY, kind="straight_sets", levers=("reps", "load")):
    """Mondays and Thursdays of two weeks with these prescriptions."""
    block = BlockContent(kind, 90, tuple(levers), rows)
    days = tuple(DayContent(weekday, "Legs", (block,)) for weekday in (0, 3))
    plan = write_plan(actor=actor_of(cast.coach), content=PlanContent("Next", 2, (), days), now=NOW).plan
    assign_plan(
        actor=actor_of(cast.coach), client_uid=cast.client.uid, plan_uid=plan.uid, starts_on=starts_on,
        override_reason="", now=NOW,
    )  # fmt: skip
    return list(ScheduledSession.objects.filter(assignment__plan_version__plan=plan).order_by("due_on"))


def left(lift, **changes):
    return prescription(lift.code, has_warm_up_ramp=False, **changes)


def train(api, scheduled, *sets, pain=(2, 2, 1), day_on=None, names=True):
    """Log these (load, reps) to failure for the session, with pain of the left knee."""
    day = day_on or scheduled.due_on
    row = scheduled.plan_day.blocks.first().prescriptions.first()
    reports = [
        {"id": str(uuid4()), "joint": "knee", "side": "left", "moment": moment, "pain": felt,
         "reported_at": f"{day}T20:00:00+01:00"}
        for moment, felt in zip(("during", "after"), pain, strict=False)
    ]  # fmt: skip
    body = {
        "performed_at": f"{day}T18:00:00+01:00",
        "scheduled_session": str(scheduled.uid),
        "sets": [
            {"id": str(uuid4()), "exercise": row.exercise.code, "side": row.side, "load": load, "reps": reps,
             "ended_by": "failure", "prescription": str(row.uid) if names else None}
            for load, reps in sets
        ],
        "pain_reports": reports,
    }  # fmt: skip
    assert api.put(f"/api/v1/sessions/{uuid4()}", body, format="json").status_code == 201
    if len(pain) == 3:
        morning = {"joint": "knee", "side": "left", "moment": "next_morning", "pain": pain[2],
                   "reported_at": f"{day + timedelta(days=1)}T07:00:00+01:00"}  # fmt: skip
        assert api.put(f"/api/v1/pain-reports/{uuid4()}", morning, format="json").status_code == 201


def address_of(scheduled):
    return f"/api/v1/clients/{scheduled.client.uid}/scheduled-sessions/{scheduled.uid}/prescriptions/next"


def told(api, scheduled):
    answer = api.get(address_of(scheduled))
    assert answer.status_code == 200
    return answer.json()


def first_of(answer):
    return answer["blocks"][0]["prescriptions"][0]


def test_the_whole_answer(cast, client_api):
    lift = knee_lift()
    sessions = calendar(cast, prescription(lift.code))
    train(client_api, sessions[0], (60, 8), (60, 7))
    train(client_api, sessions[1], (60, 10), (60, 10))
    row = Prescription.objects.get(block__day=sessions[2].plan_day)
    answer = told(client_api, sessions[2])
    assert answer.pop("caution").startswith("This service is not a medical device.")
    assert "licensed clinician" in answer.pop("refer_out")
    assert first_of(answer)["advice"].pop("sentence").startswith("2 sets of 6-10 repetitions with 62.5 kg")
    assert answer == {
        "scheduled_session": str(sessions[2].uid),
        "due_on": "2026-03-09",
        "as_of_on": "2026-03-09",
        "is_deload": False,
        "is_blocked": False,
        "asks": [],
        "computed": {
            "method": "double_progression",
            "version": "1",
            "from_on": "2025-03-09",
            "until_on": "2026-03-08",
        },
        "blocks": [
            {
                "kind": "straight_sets",
                "levers": ["reps", "load"],
                "rest_s": 90,
                "prescriptions": [
                    {
                        "prescription": str(row.uid),
                        "exercise": "hack_squat_invented",
                        "exercise_name": "Invented hack squat",
                        "side": "left",
                        "track": "fresh",
                        "sets_done": 0,
                        "advice": {
                            "load": 62.5,
                            "load_unit": "kg",
                            "load_kg": "62.5",
                            "sets_left": 2,
                            "reps_low": 6,
                            "reps_high": 10,
                            "reps_aim": 8,
                            "duration_s": None,
                            "rir_target": 0.0,
                            "tempo": "",
                            "rest_s": None,
                            "lever": "load",
                            "reasons": ["load_up"],
                        },
                        "warm_up": [
                            {"load": 30.0, "load_unit": "kg", "load_kg": "30", "reps": 5, "rest_s": 30},
                            {"load": 42.5, "load_unit": "kg", "load_kg": "42.5", "reps": 3, "rest_s": 30},
                            {"load": 57.5, "load_unit": "kg", "load_kg": "57.5", "reps": 1, "rest_s": 30},
                        ],
                        "gates": [{"joint": "knee", "side": "left", "verdict": "passed", "reason": ""}],
                        "last_time": {
                            "day_on": "2026-03-05",
                            "sets": [
                                {"load_kg": "60", "reps": 10, "duration_s": None, "rir": 0.0},
                                {"load_kg": "60", "reps": 10, "duration_s": None, "rir": 0.0},
                            ],
                        },
                        "alternatives": [],
                    }
                ],
            }
        ],
    }


def test_a_set_that_fell_short_brings_the_next_one_down(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[2], (60, 4), day_on=date(2026, 3, 9))
    found = first_of(told(client_api, sessions[2]))
    # 60 x (1 + 4/30) / (1 + 8/30) = 53.7, down to the step of 2.5 kg
    assert (found["sets_done"], found["advice"]["sets_left"], found["advice"]["load"]) == (1, 1, 52.5)
    assert (found["advice"]["reasons"][0], found["warm_up"]) == ("short_set", [])


def test_all_sets_done_is_said(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[2], (60, 8), (60, 8), day_on=date(2026, 3, 9))
    assert first_of(told(client_api, sessions[2]))["advice"]["reasons"] == ["sets_done"]


def test_a_missing_morning_holds_every_lever_and_asks(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (60, 10), (60, 10))
    train(client_api, sessions[1], (60, 10), (60, 10), pain=(2, 2))
    answer = told(client_api, sessions[2])
    advice = first_of(answer)["advice"]
    assert (advice["load"], advice["lever"]) == (60, None)
    assert advice["reasons"][:2] == ["pain_unknown", "no_next_morning"]
    assert answer["asks"] == [
        {"joint": "knee", "side": "left", "day_on": "2026-03-05", "moment": "next_morning"}
    ]


def test_pain_above_the_limit_steps_below_the_last_load_that_passed(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (60, 10), (60, 10))
    train(client_api, sessions[1], (62.5, 8), (62.5, 8), pain=(6, 3, 1))
    advice = first_of(told(client_api, sessions[2]))["advice"]
    assert (advice["load"], advice["lever"]) == (57.5, None)
    assert advice["reasons"][:2] == ["pain_failed", "pain_during"]


def test_pain_at_the_limit_today_ends_the_advice_of_today(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[2], (60, 8), pain=(6, 2), day_on=date(2026, 3, 9))
    advice = first_of(told(client_api, sessions[2]))["advice"]
    assert (advice["reasons"], advice["load"], advice["sets_left"]) == (["limit_today"], None, None)


def test_pain_below_the_limit_today_lets_the_sets_go_on(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[2], (60, 8), pain=(5, 2), day_on=date(2026, 3, 9))
    assert first_of(told(client_api, sessions[2]))["advice"]["sets_left"] == 1


def test_an_injurys_own_limit_counts(cast, client_api, signed_in):
    injury = {"joint": "knee", "side": "left", "said": "Sore tendon", "said_by": "coach", "pain_limit": 3}
    root = f"/api/v1/clients/{cast.client.uid}/injuries"
    assert signed_in(cast.coach).post(root, injury, format="json").status_code == 201
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (60, 10), (60, 10))
    train(client_api, sessions[1], (60, 10), (60, 10), pain=(3, 1, 1))
    assert first_of(told(client_api, sessions[2]))["gates"][0]["verdict"] == "failed"


def test_a_joint_that_was_never_painful_needs_no_report(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (60, 10), (60, 10), pain=())
    train(client_api, sessions[1], (60, 10), (60, 10), pain=())
    assert first_of(told(client_api, sessions[2]))["advice"]["lever"] == "load"


def test_a_red_flag_gives_no_training_advice_at_all(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (60, 10), (60, 10))
    AlertFactory(client=cast.client, kind="red_flag", target="ankle:left", severity=95)
    answer = told(client_api, sessions[2])
    assert (answer["is_blocked"], answer["blocks"], answer["asks"]) == (True, [], [])
    assert "licensed clinician" in answer["refer_out"]


def stop_the_knee(cast):
    return Injury.objects.create(
        practice=cast.practice, client=cast.client, joint="knee", side="left", said="Stop", created_at=NOW,
        said_by="clinician", status="stopped_by_clinician",
    )  # fmt: skip


def test_a_stopped_site_gives_no_advice_for_what_loads_it(cast, client_api):
    arm = ExerciseFactory(code="curl_invented", name="Invented curl")
    sessions = calendar(cast, left(knee_lift()), left(arm))
    stop_the_knee(cast)
    knee, curl = told(client_api, sessions[2])["blocks"][0]["prescriptions"]
    assert (knee["advice"]["reasons"], knee["advice"]["sets_left"]) == (["refer_out"], None)
    assert curl["advice"]["reasons"] == ["no_history"]


def forbid(lift, cast):
    Restriction.objects.create(
        practice=cast.practice, injury=stop_the_knee(cast), kind="avoid_exercise", exercise=lift,
        from_on=MONDAY, said_by="clinician",
    )  # fmt: skip
    Injury.objects.update(status="active")


def test_an_exercise_to_avoid_gets_no_load(cast, client_api):
    lift = knee_lift()
    sessions = calendar(cast, left(lift))
    forbid(lift, cast)
    assert first_of(told(client_api, sessions[2]))["advice"]["reasons"] == ["restricted"]


def test_a_coach_who_overrode_the_restriction_gets_the_advice(cast, client_api):
    lift = knee_lift()
    sessions = calendar(cast, left(lift))
    forbid(lift, cast)
    Assignment.objects.update(override_reason="Agreed with the clinician, light only")
    assert "restricted" not in first_of(told(client_api, sessions[2]))["advice"]["reasons"]


def test_a_clearance_ends_no_stop_before_the_entry_is_changed(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    injury = stop_the_knee(cast)
    Clearance.objects.create(
        practice=cast.practice, client=cast.client, joint="knee", side="left", clinician_name="Dr Invented",
        clinician_profession="physician", cleared_on=date(2026, 3, 6), recorded_at=NOW + timedelta(days=4),
    )  # fmt: skip
    assert first_of(told(client_api, sessions[2]))["advice"]["reasons"] == ["refer_out"]
    Injury.objects.filter(id=injury.id).update(status="active")
    assert first_of(told(client_api, sessions[2]))["advice"]["reasons"][-1] == "no_history"


def test_days_before_the_first_pain_count_as_passed(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (57.5, 10), (57.5, 10), pain=())
    train(client_api, sessions[1], (60, 8), (60, 8), pain=(6, 3, 1))
    # one step below the 57.5 kg of the week without complaint
    assert first_of(told(client_api, sessions[2]))["advice"]["load"] == 55


def test_a_lay_off_starts_lower(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (60, 10), (60, 10), day_on=date(2026, 2, 19))
    advice = first_of(told(client_api, sessions[2]))["advice"]
    # 18 days: 80 % of 60 is 48, down to 47.5; 60 % of two sets is one
    assert (advice["load"], advice["sets_left"], "lay_off" in advice["reasons"]) == (47.5, 1, True)


def test_the_same_lift_with_another_range_is_another_history(cast, client_api):
    lift = knee_lift()
    train(client_api, calendar(cast, left(lift, reps_low=12, reps_high=15))[0], (40, 15), (40, 15))
    sessions = calendar(cast, left(lift), starts_on=date(2026, 3, 9))
    assert first_of(told(client_api, sessions[0]))["last_time"] is None


def test_a_new_version_of_the_plan_keeps_the_history(cast, client_api):
    lift = knee_lift()
    train(client_api, calendar(cast, left(lift))[0], (60, 9), (60, 9))
    sessions = calendar(cast, left(lift, sets=3), starts_on=date(2026, 3, 9))
    assert first_of(told(client_api, sessions[0]))["last_time"]["day_on"] == "2026-03-02"


def test_sets_of_another_lift_change_nothing(cast, client_api):
    arm = ExerciseFactory(code="curl_invented", name="Invented curl")
    sessions = calendar(cast, left(knee_lift()), left(arm))
    train(client_api, sessions[0], (60, 10), (60, 10))
    before = first_of(told(client_api, sessions[2]))
    curl = {"id": str(uuid4()), "exercise": "curl_invented", "side": "left", "load": 10, "reps": 12}
    body = {"performed_at": "2026-03-08T18:00:00+01:00", "sets": [curl]}
    assert client_api.put(f"/api/v1/sessions/{uuid4()}", body, format="json").status_code == 201
    assert first_of(told(client_api, sessions[2])) == before


@pytest.mark.parametrize(("last_sets", "load"), [((12, 12), 62.5), ((12, 11), 60), ((10, 12), 60)])
def test_cautious_clients_wait_for_two_for_two(cast, client_api, last_sets, load):
    cast.client.progression_rule = "two_for_two"
    cast.client.save()
    sessions = calendar(cast, left(knee_lift()))
    for scheduled, last_set in zip(sessions, last_sets, strict=False):
        train(client_api, scheduled, (60, 12), (60, last_set))
    assert first_of(told(client_api, sessions[2]))["advice"]["load"] == load


def test_a_set_that_names_no_prescription_answers_the_only_one_of_its_lift(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (60, 9), (60, 9), names=False)
    assert len(first_of(told(client_api, sessions[2]))["last_time"]["sets"]) == 2


def test_of_two_prescriptions_of_a_lift_a_nameless_set_answers_neither(cast, client_api):
    lift = knee_lift()
    sessions = calendar(cast, left(lift), left(lift, reps_low=12, reps_high=15))
    train(client_api, sessions[0], (60, 9), names=False)
    assert first_of(told(client_api, sessions[2]))["last_time"] is None


def test_one_sided_work_of_both_sides_counts_a_set_of_each(cast, client_api):
    lift = knee_lift()
    lift.is_one_sided = True
    lift.save()
    sessions = calendar(cast, left(lift, side="both"))
    body = {
        "performed_at": "2026-03-02T18:00:00+01:00",
        "scheduled_session": str(sessions[0].uid),
        "sets": [
            {"id": str(uuid4()), "exercise": lift.code, "side": side, "load": 30, "reps": 8}
            for side in ("left", "right")
        ],
    }
    assert client_api.put(f"/api/v1/sessions/{uuid4()}", body, format="json").status_code == 201
    found = first_of(told(client_api, sessions[2]))
    assert (found["advice"]["sets_left"], len(found["last_time"]["sets"])) == (4, 2)


def test_a_share_of_one_sided_work_is_that_of_the_weaker_side(cast, client_api):
    lift = knee_lift()
    lift.is_one_sided = True
    lift.save()
    asked = {"load_rule": "share_of_1rm", "share_of_1rm": 0.5, "reps_low": 3, "reps_high": 5}
    sessions = calendar(cast, left(lift, side="both", **asked))
    sets = [
        {"id": str(uuid4()), "exercise": lift.code, "side": side, "load": load, "reps": 1, "rir": 0}
        for side, load in (("left", 50), ("right", 60))
    ]
    body = {"performed_at": "2026-03-02T18:00:00+01:00", "sets": sets}
    assert client_api.put(f"/api/v1/sessions/{uuid4()}", body, format="json").status_code == 201
    assert first_of(told(client_api, sessions[2]))["advice"]["load"] == 25


def test_a_load_between_the_steps_can_be_lifted_again(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (61, 8), (61, 8))
    assert first_of(told(client_api, sessions[2]))["advice"]["load"] == 61
    train(client_api, sessions[1], (61, 10), (61, 10))
    assert first_of(told(client_api, sessions[2]))["advice"]["load"] == 63.5


def test_a_load_to_confirm_is_no_history(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    train(client_api, sessions[0], (60, 8), (60, 8))
    train(client_api, sessions[1], (600, 8), (60, 8))
    assert len(first_of(told(client_api, sessions[2]))["last_time"]["sets"]) == 1


def test_the_same_answer_has_the_same_tag(cast, client_api):
    sessions = calendar(cast, left(knee_lift()))
    tag = client_api.get(address_of(sessions[2])).headers["ETag"]
    again = client_api.get(address_of(sessions[2]), headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")


def test_the_reading_is_on_the_trail(cast, client_api):
    told(client_api, calendar(cast, left(knee_lift()))[2])
    read = AuditEvent.objects.get(action="read", record_kind="scheduled_session")
    assert read.subject_key == cast.client.audit_key


@pytest.mark.parametrize("who", ["stranger", "colleague", "strangers_client", "colleagues_client"])
def test_others_get_what_is_not_there(cast, signed_in, who):
    sessions = calendar(cast, left(knee_lift()))
    assert signed_in(getattr(cast, who)).get(address_of(sessions[2])).status_code == 404


def test_an_unknown_session_is_not_found(cast, client_api):
    unknown = f"/api/v1/clients/{cast.client.uid}/scheduled-sessions/{uuid4()}/prescriptions/next"
    assert client_api.get(unknown).status_code == 404


def test_queries_grow_neither_with_prescriptions_nor_with_history(cast, client_api):
    def queries(scheduled):
        address = address_of(scheduled)
        with CaptureQueriesContext(connection) as captured:
            assert client_api.get(address).status_code == 200
        return len(captured)

    lift = knee_lift()
    sessions = calendar(cast, left(lift))
    train(client_api, sessions[0], (60, 8))
    told(client_api, sessions[2])  # the trail's row of this hour is there from now on
    few = queries(sessions[2])
    lifts = [ExerciseFactory(code=f"lift_{place}", name=f"Lift {place}") for place in range(5)]
    for each in lifts:
        JointStress.objects.create(exercise=each, joint="hip", stress=0.5, reason="Bent")
    more = calendar(cast, left(lift), *(left(each) for each in lifts), starts_on=date(2026, 3, 9))
    train(client_api, sessions[1], (60, 8), (60, 7))
    assert queries(more[0]) == few
