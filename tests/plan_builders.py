"""Small plans written through the operation that coaches use."""

from coaching.models import Actor, JointStress, Membership, Role
from coaching.operations.plans import write_plan
from coaching.reads.plans import BlockContent, DayContent, PlanContent, PrescriptionContent
from tests.factories import NOW, ExerciseFactory


def actor_of(member: Membership) -> Actor:
    return Actor(member.account_id, None, member.practice_id, Role(member.role), membership_id=member.id)


def knee_lift(code="hack_squat_invented"):
    exercise = ExerciseFactory(code=code, name="Invented hack squat")
    JointStress.objects.create(exercise=exercise, joint="knee", stress=1.0, reason="Deep and loaded")
    return exercise


def prescription(code, **changes):
    """Two left-sided sets of 6 to 10 behind a warm-up ramp: 29 joint reps of a fully stressed joint."""
    fields = {
        "exercise": code,
        "side": "left",
        "sets": 2,
        "reps_low": 6,
        "reps_high": 10,
        "duration_s": None,
        "effort_target": "failure",
        "rir_target": None,
        "load_rule": "from_history",
        "load_kg": None,
        "share_of_1rm": None,
        "tempo": "",
        "rest_s": None,
        "has_warm_up_ramp": True,
        "warm_up_steps": (),
        "alternatives": (),
    }
    return PrescriptionContent(**fields | changes)


def plan_content(lift, weekdays=(0, 3), weeks=2, deload_weeks=(2,), name="Knee first", **changes):
    """Days of one prescription each; `changes` are to it."""
    block = BlockContent("straight_sets", 90, ("reps", "load"), (prescription(lift.code, **changes),))
    days = tuple(DayContent(weekday, "Legs", (block,)) for weekday in weekdays)
    return PlanContent(name, weeks, deload_weeks, days)


def plan_by(coach: Membership, lift, **changes):
    return write_plan(actor=actor_of(coach), content=plan_content(lift, **changes), now=NOW).plan
