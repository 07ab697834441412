import pytest
import time_machine

from coaching.models import Block, JointDay, JointStress, Plan, PlanDay, PlanVersion, Prescription
from coaching.reads.planned_days import ramp_of
from coaching.reads.prescribed import prescribed_day, weekly_joint_reps
from tests.bodies import session_body, set_body
from tests.factories import NOW, ExerciseFactory, PracticeFactory, fresh_uid


@pytest.fixture
def day(db):
    practice = PracticeFactory()
    plan = Plan.objects.create(practice=practice, name="Any", created_at=NOW)
    version = PlanVersion.objects.create(plan=plan, number=1, weeks=1, created_at=NOW)
    day = PlanDay.objects.create(version=version, position=0, weekday=0, name="Any")
    Block.objects.create(day=day, position=0, kind="straight_sets")
    return day


def prescribe(day, **changes):
    block = day.blocks.get()
    fields = {
        "practice": day.version.plan.practice,
        "block": block,
        "position": block.prescriptions.count(),
        "exercise": changes.pop("exercise", None) or ExerciseFactory(),
        "side": "both",
        "sets": 2,
        "reps_low": 6,
        "reps_high": 10,
        "effort_target": "failure",
        "load_rule": "from_history",
    }
    return Prescription.objects.create(**fields | changes)


def stresses(row, **joints):
    return {row.exercise_id: joints}


def test_reps_count_at_the_low_end_and_joint_reps_at_the_high_end(day):
    row = prescribe(day, side="left")
    asked = prescribed_day(day, stresses(row, knee=0.5))
    assert (asked.sets, asked.reps, asked.joint_reps) == (2, 12, {"knee:left": 10.0})


def test_both_counts_once_for_each_side(day):
    row = prescribe(day)
    assert prescribed_day(day, stresses(row, knee=1)).joint_reps == {"knee:left": 20, "knee:right": 20}


def test_spine_is_midline_whatever_the_side(day):
    row = prescribe(day, side="right")
    assert prescribed_day(day, stresses(row, lumbar_spine=0.25)).joint_reps == {"lumbar_spine:midline": 5}


def test_one_sided_work_of_both_sides_is_a_set_of_each(day):
    row = prescribe(day, exercise=ExerciseFactory(is_one_sided=True), has_warm_up_ramp=True)
    asked = prescribed_day(day, stresses(row, knee=1, lumbar_spine=0.5))
    assert (asked.sets, asked.reps) == (4, 24)
    assert asked.joint_reps == {"knee:left": 29, "knee:right": 29, "lumbar_spine:midline": 29}


@pytest.mark.parametrize(
    ("is_one_sided", "sides"), [(False, ["both"]), (True, ["left", "right"]), (True, ["both"])]
)
def test_done_as_prescribed_the_log_has_the_prescribed_joint_reps(cast, signed_in, day, is_one_sided, sides):
    lift = ExerciseFactory(is_one_sided=is_one_sided)
    row = prescribe(day, exercise=lift)
    for joint in ("knee", "lumbar_spine"):
        JointStress.objects.create(exercise=lift, joint=joint, stress=0.5, reason="Invented")
    sets = [set_body(exercise=lift.code, side=side, reps=10) for _ in range(2) for side in sides]
    body = session_body(sets=sets, pain_reports=[])
    api = signed_in(cast.client)
    with time_machine.travel("2026-03-02T20:00:00Z", tick=False):
        assert api.put(f"/api/v1/sessions/{fresh_uid()}", body, format="json").status_code == 201
    logged = {f"{each.joint}:{each.side}": each.joint_reps for each in JointDay.objects.all()}
    assert logged == prescribed_day(day, stresses(row, knee=0.5, lumbar_spine=0.5)).joint_reps


def test_warm_up_ramp_adds_nine_joint_reps_and_no_work(day):
    row = prescribe(day, side="left", has_warm_up_ramp=True)
    asked = prescribed_day(day, stresses(row, knee=1))
    assert (asked.sets, asked.reps, asked.joint_reps) == (2, 12, {"knee:left": 29})


def test_coachs_own_ramp_counts_with_its_own_reps(day):
    steps = [{"share_of_work_load": share, "reps": 4, "rest_s": 60} for share in (0.5, 0.8)]
    row = prescribe(day, side="left", has_warm_up_ramp=True, warm_up_steps=steps)
    assert prescribed_day(day, stresses(row, knee=1)).joint_reps == {"knee:left": 28}


def test_default_ramp_is_three_steps_of_30_s_rest_and_no_ramp_is_none(day):
    default, none = prescribe(day, has_warm_up_ramp=True), prescribe(day)
    assert [(step.share, step.reps, step.rest_s) for step in ramp_of(default)] == [
        (0.5, 5, 30),
        (0.7, 3, 30),
        (0.95, 1, 30),
    ]
    assert ramp_of(none) == ()


def test_hold_is_one_joint_rep_a_set_and_no_rep(day):
    row = prescribe(day, side="left", reps_low=None, reps_high=None, duration_s=45)
    asked = prescribed_day(day, stresses(row, knee=1))
    assert (asked.sets, asked.reps, asked.joint_reps) == (2, 0, {"knee:left": 2})


def test_exercises_of_a_day_add_up(day):
    first, second = prescribe(day, side="left"), prescribe(day, side="left", sets=1)
    asked = prescribed_day(day, stresses(first, knee=1) | stresses(second, knee=0.5))
    assert asked.joint_reps == {"knee:left": 25}


def test_week_is_the_sum_of_its_days(day):
    row = prescribe(day, side="left")
    asked = prescribed_day(day, stresses(row, knee=1))
    assert weekly_joint_reps([asked, asked, asked]) == {"knee:left": 60}
