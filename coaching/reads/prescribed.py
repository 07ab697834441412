"""What a plan day asks for in numbers: sets, repetitions, and repetitions of each joint site."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from coaching.compute.joint_sides import sides_in_turn
from coaching.compute.plan_dose import week_dose
from coaching.models import PlanDay, Prescription
from coaching.reads.exercise_profiles import exercise_profile
from coaching.reads.planned_days import planned_day


@dataclass(frozen=True, slots=True)
class PrescribedDay:
    """Work sets and their reps, one-sided work of both sides as a set of each.

    `joint_reps` by site, like "knee:left"; warm-up ramps count there, but are no work sets or reps.
    """

    sets: int
    reps: int
    joint_reps: dict[str, float]


def prescribed_day(day: PlanDay, stresses: Mapping[int, Mapping[str, float]]) -> PrescribedDay:
    """The numbers of one day for a client with these stresses (exercise id -> joint -> stress).

    Reps are the least that fulfils the prescription (sets x the low end; a hold has none). Joint reps are the
    most it may come to (sets x the high end, ramp included), since they are held against caps. An alternative
    is not counted: which one the client takes is known only when it is logged.
    """
    rows = prescriptions_of(day)
    profiles = {
        row.exercise_id: exercise_profile(row.exercise, stresses.get(row.exercise_id, {})) for row in rows
    }
    sets = [row.sets * len(_sides_in_turn(row)) for row in rows]
    return PrescribedDay(
        sets=sum(sets),
        reps=sum(count * (row.reps_low or 0) for count, row in zip(sets, rows, strict=True)),
        joint_reps={site.site: site.joint_reps for site in week_dose([planned_day(day, profiles)]).sites},
    )


def prescriptions_of(day: PlanDay) -> list[Prescription]:
    return [row for block in day.blocks.all() for row in block.prescriptions.all()]


def _sides_in_turn(row: Prescription) -> tuple[str, ...]:
    return sides_in_turn(row.side, is_one_sided=row.exercise.is_one_sided)


def weekly_joint_reps(days: Iterable[PrescribedDay]) -> dict[str, float]:
    """Site -> joint reps of one whole week of the plan."""
    total: dict[str, float] = {}
    for day in days:
        for site, reps in day.joint_reps.items():
            total[site] = total.get(site, 0.0) + reps
    return total
