"""How far a load goes up or comes down: the step, whether it was earned, and what falls short of a range."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from coaching.compute.equipment import Equipment
from coaching.compute.strength import estimated_1rm, load_for_reps, reps_for_load

SMALLEST_RISE = Decimal("0.02")
LARGEST_RISE = Decimal("0.10")

# Above so many repetitions (with those in reserve) no load is reckoned from a formula.
MOST_REPS_FOR_FORMULA = 10
FALL_WITHOUT_FORMULA = Decimal("0.10")  # coach judgement
TWO_FOR_TWO_REPS = 2


@dataclass(frozen=True, slots=True)
class LoadBounds:
    """Lightest and heaviest load of the next step, kg."""

    low_kg: Decimal
    high_kg: Decimal


def bound_load_step(load_kg: Decimal) -> LoadBounds:
    """Give the bounds of a rise of the load.

    Args:
        load_kg: load of the last time, 0 or more; any unit, the result has the same.

    Returns:
        2 % and 10 % above it.

    Raises:
        ValueError: load negative or not finite.

    Source:
        ACSM position stand 2009, Med Sci Sports Exerc 41(3):687-708: 2 to 10 % where 1 or 2 repetitions more
        than asked for can be done.

    >>> bound_load_step(Decimal(60))
    LoadBounds(low_kg=Decimal('61.20'), high_kg=Decimal('66.00'))
    """
    if not load_kg.is_finite() or load_kg < 0:
        raise ValueError(f"load_kg must be a finite number of 0 or more, got {load_kg}")
    return LoadBounds(load_kg * (1 + SMALLEST_RISE), load_kg * (1 + LARGEST_RISE))


def choose_heavier_load(load_kg: Decimal, equipment: Equipment) -> Decimal | None:
    """Choose the next load upwards.

    Args:
        load_kg: load of the last time.
        equipment: what can be made.

    Returns:
        The smallest load within the bounds that the equipment can make, kg; None where it has none. Where the
        whole load is not known, one step heavier: a percentage of the part says nothing.

    Raises:
        ValueError: as bound_load_step.

    Source:
        Bounds: as bound_load_step. The smallest one: design choice.

    >>> float(choose_heavier_load(Decimal(60), Equipment(2500)))
    62.5
    >>> choose_heavier_load(Decimal(10), Equipment(2500)) is None
    True
    """
    if not equipment.is_whole_load_known:
        return equipment.step_heavier(load_kg)
    bounds = bound_load_step(load_kg)
    heavier = equipment.step_heavier(load_kg)
    while heavier is not None and heavier < bounds.low_kg:
        heavier = equipment.step_heavier(heavier)
    return heavier if heavier is not None and load_kg < heavier <= bounds.high_kg else None


def predict_reps(load_kg: Decimal, reps: float, rir: float, next_load_kg: Decimal) -> float:
    """Predict how many repetitions to failure another load allows.

    Args:
        load_kg: load lifted, above 0.
        reps, rir: repetitions done with it, 1 or more, and left in reserve.
        next_load_kg: the other load, above 0.

    Returns:
        Repetitions, a fraction in general; nan where reps + rir lies above 10, where no load is reckoned.

    Raises:
        ValueError: as estimated_1rm and reps_for_load.

    Source:
        30 (L1 (1 + r1/30) / L2 - 1), from Epley 1985, Poundage Chart. The limit of 10: design choice.

    >>> round(predict_reps(Decimal(60), 10, 0, Decimal("62.5")), 2)
    8.4
    """
    if reps + rir > MOST_REPS_FOR_FORMULA:
        return math.nan
    return reps_for_load(estimated_1rm(float(load_kg), reps, rir), float(next_load_kg))


def is_two_for_two(goal: int, last_sets: Sequence[int]) -> bool:
    """Say whether the 2-for-2 rule lets the load go up.

    Args:
        goal: repetitions asked for.
        last_sets: repetitions of the last set of each session of the exercise, oldest first; a session that
            was missed is not among them.

    Returns:
        True where the last set lay two or more above the goal in the two newest sessions.

    Source:
        Baechle and Earle, Weight Training: Steps to Success (second-hand).

    >>> is_two_for_two(10, [12, 12]), is_two_for_two(10, [12, 11])
    (True, False)
    """
    newest = last_sets[-2:]
    return len(newest) == 2 and min(newest) >= goal + TWO_FOR_TWO_REPS


def lower_load(
    load_kg: Decimal, reps: int, rir: float, wanted_reps: float, equipment: Equipment
) -> Decimal | None:
    """Give the load with which a range that was missed is reached again.

    Args:
        load_kg: load of the set that fell short.
        reps, rir: repetitions done, 0 or more, and left in reserve.
        wanted_reps: repetitions to failure that the next set is to allow.
        equipment: what can be made.

    Returns:
        Load that can be made, kg, rounded to the lighter side and lighter by a step or more; None where there
        is no lighter one. Where either number of repetitions lies above 10, a tenth less. Where the whole
        load is not known, one step lighter.

    Raises:
        ValueError: as estimated_1rm.

    Source:
        Epley 1985, Poundage Chart, and its inverse. No repetition counts as one; a tenth less: coach
        judgement.

    >>> float(lower_load(Decimal(60), 4, 0, 8, Equipment(2500)))
    52.5
    """
    lighter = equipment.step_lighter(load_kg)
    if lighter is None or not equipment.is_whole_load_known or load_kg == 0:
        return lighter
    if max(reps + rir, wanted_reps) > MOST_REPS_FOR_FORMULA:
        wanted_kg = load_kg * (1 - FALL_WITHOUT_FORMULA)
    else:
        one_rm_kg = estimated_1rm(float(load_kg), max(reps, 1), rir)
        wanted_kg = Decimal(repr(load_for_reps(one_rm_kg, wanted_reps)))
    reachable = equipment.at_most(wanted_kg)
    return equipment.lowest_kg if reachable is None else equipment.lighter_of(reachable, lighter)
