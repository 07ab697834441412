"""What a plan day asks for in numbers: sets, repetitions, and repetitions of each joint site."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from coaching.compute.warm_up import DEFAULT_RAMP
from coaching.models import MIDLINE_JOINTS, PlanDay, Prescription, SetSide, SiteSide
from coaching.reads.plans import WarmUpStep, own_warm_up_steps

DEFAULT_STEPS = tuple(WarmUpStep(step.share, step.reps, step.rest_s) for step in DEFAULT_RAMP)
REPS_OF_A_HOLD = 1  # a hold counts as one repetition of its joints: coach judgement


@dataclass(frozen=True, slots=True)
class PrescribedDay:
    """`joint_reps` by site, like "knee:left"; warm-up ramps count there, but are no work sets or reps."""

    sets: int
    reps: int
    joint_reps: dict[str, float]


def prescribed_day(day: PlanDay, stresses: Mapping[int, Mapping[str, float]]) -> PrescribedDay:
    """The numbers of one day for a client with these stresses (exercise id -> joint -> stress).

    Reps are the least that fulfils the prescription (sets x the low end; a hold has none). Joint reps are the
    most it may come to (sets x the high end, ramp included), since they are held against caps.
    """
    rows = prescriptions_of(day)
    joint_reps: defaultdict[str, float] = defaultdict(float)
    for row in rows:
        for joint, stress in stresses.get(row.exercise_id, {}).items():
            for side in sites_loaded(joint, row.side):
                joint_reps[f"{joint}:{side}"] += most_reps(row) * stress
    return PrescribedDay(
        sets=sum(row.sets for row in rows),
        reps=sum(row.sets * (row.reps_low or 0) for row in rows),
        joint_reps=dict(joint_reps),
    )


def prescriptions_of(day: PlanDay) -> list[Prescription]:
    return [row for block in day.blocks.all() for row in block.prescriptions.all()]


def most_reps(row: Prescription) -> int:
    """Repetitions at the high end of the range, with the warm-up ramp once; each hold is one.

    An alternative is not counted: which one the client takes is known only when it is logged.
    """
    a_set = REPS_OF_A_HOLD if row.reps_high is None else row.reps_high
    return row.sets * a_set + sum(step.reps for step in ramp_of(row))


def ramp_of(row: Prescription) -> tuple[WarmUpStep, ...]:
    """The warm-up sets to do before the first work set: the coach's own ramp, else the default, else none."""
    return (own_warm_up_steps(row) or DEFAULT_STEPS) if row.has_warm_up_ramp else ()


def sites_loaded(joint: str, side: str) -> list[str]:
    """The sides of `joint` that a set on `side` loads: a set of both counts once for each."""
    if joint in MIDLINE_JOINTS:
        return [SiteSide.MIDLINE.value]
    return [SiteSide.LEFT.value, SiteSide.RIGHT.value] if side == SetSide.BOTH else [side]


def weekly_joint_reps(days: Iterable[PrescribedDay]) -> dict[str, float]:
    """Site -> joint reps of one whole week of the plan."""
    total: dict[str, float] = {}
    for day in days:
        for site, reps in day.joint_reps.items():
            total[site] = total.get(site, 0.0) + reps
    return total
