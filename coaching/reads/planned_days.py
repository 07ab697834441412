"""Days of a stored plan as computing takes them, for one client."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import nan

from coaching.compute import plan_week
from coaching.compute.exercise_profile import ExerciseProfile
from coaching.compute.warm_up import DEFAULT_RAMP, RampStep
from coaching.models import Block, BlockKind, EffortTarget, PlanDay, Prescription
from coaching.reads.plans import own_warm_up_steps


@dataclass(frozen=True, slots=True)
class PlannedLoad:
    """Load of a prescription's work sets as it would be logged, and as a share of the 1RM; nan: not known."""

    load_kg: float = nan
    share_of_1rm: float = nan


NOT_KNOWN = PlannedLoad()


def planned_day(
    day: PlanDay,
    profiles: Mapping[int, ExerciseProfile],
    loads: Mapping[int, PlannedLoad] | None = None,
) -> plan_week.PlannedDay:
    """The day with these exercises (exercise id -> profile) and loads (prescription id -> load)."""
    return plan_week.PlannedDay(tuple(_block(block, profiles, loads or {}) for block in day.blocks.all()))


def ramp_of(row: Prescription) -> tuple[RampStep, ...]:
    """The warm-up sets to do before the first work set: the coach's own ramp, else the default, else none."""
    if not row.has_warm_up_ramp:
        return ()
    own = own_warm_up_steps(row)
    return tuple(RampStep(step.share_of_work_load, step.reps, step.rest_s) for step in own) or DEFAULT_RAMP


def _block(
    block: Block, profiles: Mapping[int, ExerciseProfile], loads: Mapping[int, PlannedLoad]
) -> plan_week.PlannedBlock:
    return plan_week.PlannedBlock(
        rows=tuple(
            _sets(row, profiles[row.exercise_id], loads.get(row.id, NOT_KNOWN))
            for row in block.prescriptions.all()
        ),
        rest_s=block.rest_s,
        is_back_to_back=block.kind == BlockKind.BACK_TO_BACK,
    )


def _sets(row: Prescription, exercise: ExerciseProfile, load: PlannedLoad) -> plan_week.PlannedSets:
    return plan_week.PlannedSets(
        exercise=exercise,
        sets=row.sets,
        reps_low=row.reps_low,
        reps_high=row.reps_high,
        duration_s=row.duration_s,
        side=row.side,
        to_failure=row.effort_target == EffortTarget.FAILURE,
        rir=nan if row.rir_target is None else row.rir_target,
        load_kg=load.load_kg,
        share_of_1rm=load.share_of_1rm,
        tempo=row.tempo,
        rest_s=row.rest_s,
        warm_up=ramp_of(row),
    )
