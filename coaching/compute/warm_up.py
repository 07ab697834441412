"""The warm-up ramp of a work load."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from coaching.compute.equipment import Equipment
from coaching.compute.load_step import MOST_REPS_FOR_FORMULA
from coaching.compute.strength import estimated_1rm, reps_for_load

SHORT_OF_FAILURE = 3  # repetitions a warm-up set leaves at least


@dataclass(frozen=True, slots=True)
class RampStep:
    """One warm-up set as the coach has set it: share of the work load, repetitions, and the rest after it."""

    share: float
    reps: int
    rest_s: int = 30

    def __post_init__(self) -> None:
        if not 0 < self.share < 1:
            raise ValueError(f"share must lie between 0 and 1, got {self.share}")
        if self.reps < 1:
            raise ValueError(f"reps must be 1 or more, got {self.reps}")
        if self.rest_s < 0:
            raise ValueError(f"rest_s must be 0 or more, got {self.rest_s}")


DEFAULT_RAMP = (RampStep(0.50, 5), RampStep(0.70, 3), RampStep(0.95, 1))


@dataclass(frozen=True, slots=True)
class WarmUpSet:
    """One warm-up set to do: exact kilograms, the same as entered, repetitions, and the rest after it."""

    load_kg: Decimal
    load_thousandths: int
    load_unit: str
    reps: int
    rest_s: int


def warm_up_ramp(
    work_load_kg: Decimal | None,
    equipment: Equipment,
    *,
    work_reps: int | None = None,
    work_rir: float = 0,
    steps: Sequence[RampStep] = DEFAULT_RAMP,
) -> tuple[WarmUpSet, ...]:
    """Give the warm-up sets before a work load.

    Args:
        work_load_kg: load of the first work set; None = not known.
        equipment: what can be made; each load is rounded down to it.
        work_reps, work_rir: repetitions of the work set and those left in reserve; None = not known or a
            hold.
        steps: the ramp as the coach has set it, lightest first.

    Returns:
        Sets, each heavier than the one before and lighter than the work load; of two that come to one load
        the later one, whose repetitions are fewer, stays. None at all where the work load is not known, is 0,
        or is a part of the whole only (added to body mass, assistance). Where the work set's maximum can be
        reckoned (reps + reserve up to 10), a step that would end less than 3 repetitions before failure loses
        repetitions, down to one.

    Raises:
        ValueError: work_load_kg or work_rir negative, work_reps below 1.

    Notes:
        Warm-up repetitions count as joint reps. One repetition is kept even where it leaves fewer than three.

    Source:
        50 % x 5, 70 % x 3, 95 % x 1, 30 s: common practice, no source. Well short of failure: common
        practice; three repetitions: design choice.

    >>> [(float(each.load_kg), each.reps) for each in warm_up_ramp(Decimal(60), Equipment(2500))]
    [(30.0, 5), (40.0, 3), (55.0, 1)]
    """
    if work_load_kg is None or work_load_kg == 0 or not equipment.is_whole_load_known:
        return ()
    if work_load_kg < 0:
        raise ValueError(f"work_load_kg must be 0 or more, got {work_load_kg}")
    one_rm_kg = _one_rm_kg(work_load_kg, work_reps, work_rir)
    loads: dict[Decimal, RampStep] = {}
    for step in steps:
        load_kg = equipment.at_most(work_load_kg * Decimal(repr(step.share)))
        if load_kg is not None and max(loads, default=Decimal(0)) <= load_kg and load_kg > 0:
            loads[load_kg] = step
    return tuple(_warm_up_set(load_kg, step, one_rm_kg, equipment) for load_kg, step in loads.items())


def _warm_up_set(
    load_kg: Decimal, step: RampStep, one_rm_kg: float | None, equipment: Equipment
) -> WarmUpSet:
    reps = step.reps
    if one_rm_kg is not None:
        allowed = math.floor(reps_for_load(one_rm_kg, float(load_kg))) - SHORT_OF_FAILURE
        reps = max(1, min(reps, allowed))
    return WarmUpSet(load_kg, equipment.thousandths_of(load_kg), equipment.unit, reps, step.rest_s)


def _one_rm_kg(load_kg: Decimal, reps: int | None, rir: float) -> float | None:
    if reps is None:
        return None
    if reps < 1:
        raise ValueError(f"work_reps must be 1 or more, got {reps}")
    if not rir >= 0:
        raise ValueError(f"work_rir must be 0 or more, got {rir}")
    return estimated_1rm(float(load_kg), reps, rir) if reps + rir <= MOST_REPS_FOR_FORMULA else None
