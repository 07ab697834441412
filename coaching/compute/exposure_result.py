"""What one exposure showed against what its prescription asked for."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from coaching.compute.equipment import Equipment
from coaching.compute.load_step import lower_load
from coaching.compute.prescribing import PerformedSet, Target

SHORT_HOLD_SHARE = 0.75  # coach judgement


@dataclass(frozen=True, slots=True)
class ExposureResult:
    """What the sets of one exposure showed.

    Attributes:
        load_kg: heaviest load with which the range was reached; the lightest load where it was with none.
        weakest: least amount (repetitions or seconds) of the sets with that load, as if done at the effort
            asked for.
        least_capacity: least repetitions + reserve of these sets; a reserve that is not known counts as none.
        is_complete: as many sets as asked for.
        is_top: complete, and every set reached the top of the range with that load or a heavier one.
        is_effort_known: the reserve was reported wherever one was asked for.
        short_set: the set that fell short, where the next load has to come down.
        has_stopped_early: a set stopped below the range with repetitions in reserve.
        is_too_hard: the range was reached, but with less in reserve than asked for.
        is_ended_by_pain: pain ended a set.
    """

    load_kg: Decimal
    weakest: int
    least_capacity: float
    is_complete: bool
    is_top: bool
    is_effort_known: bool
    short_set: PerformedSet | None
    has_stopped_early: bool
    is_too_hard: bool
    is_ended_by_pain: bool


def judge_exposure(
    target: Target, sets: Sequence[PerformedSet], equipment: Equipment, *, is_second_half: bool = False
) -> ExposureResult:
    """Judge the work sets of one exposure.

    Args:
        target: what was asked for.
        sets: work sets in order, one or more.
        equipment: tells which load is the heavier.
        is_second_half: then a last set below the range is enough for the load to come down; else only an
            exposure in which no set reached the range.

    Returns:
        ExposureResult.

    Raises:
        ValueError: no set.

    Notes:
        A set with less in reserve than asked for counts as so many repetitions fewer; one with more in
        reserve counts as done.

    Source:
        Coach judgement.

    >>> done = [PerformedSet(Decimal(60), reps=reps, is_to_failure=True) for reps in (8, 7)]
    >>> found = judge_exposure(Target(2, 6, 10), done, Equipment(2500))
    >>> found.load_kg, found.weakest, found.is_top
    (Decimal('60'), 7, False)
    """
    if not sets:
        raise ValueError(f"sets must be one or more, got {len(sets)}")
    counted = [each for each in sets if not each.is_ended_by_pain] or list(sets)
    reached = [each for each in counted if not is_short(target, each)]
    loads = [each.load_kg for each in reached]
    load_kg = (
        max(loads, key=equipment.demand)
        if reached
        else equipment.lighter_of(*(each.load_kg for each in counted))
    )
    with_load = [each for each in counted if not equipment.is_heavier(load_kg, each.load_kg)]
    at_load = [each for each in with_load if each.load_kg == load_kg]
    weakest = min(amount_at_effort(target, each) for each in at_load)
    is_complete = len(sets) >= target.sets
    return ExposureResult(
        load_kg=load_kg,
        weakest=weakest,
        least_capacity=min(each.amount + (each.left or 0) for each in at_load),
        is_complete=is_complete,
        is_top=is_complete
        and len(with_load) == len(sets)
        and all(amount_at_effort(target, each) >= target.high for each in sets),
        is_effort_known=target.rir == 0 or all(each.left is not None for each in at_load),
        short_set=_short_set(target, sets, reached, is_second_half),
        has_stopped_early=any(each.amount < target.low for each in at_load if each in reached),
        is_too_hard=weakest < target.low <= min(each.amount for each in at_load),
        is_ended_by_pain=any(each.is_ended_by_pain for each in sets),
    )


def amount_at_effort(target: Target, done: PerformedSet) -> int:
    """Give what a set would have come to at the effort asked for.

    Args:
        target: what was asked for.
        done: the set; a reserve that is not known counts as the one asked for.

    Returns:
        Repetitions done less those it went beyond the reserve asked for, rounded down; seconds of a hold.

    Source:
        Coach judgement.

    >>> target = Target(1, 6, 10, effort="reps_in_reserve", rir_target=2)
    >>> amount_at_effort(target, PerformedSet(Decimal(60), reps=8, rir=0))
    6
    """
    beyond = 0.0 if done.left is None else min(0.0, done.left - target.rir)
    return max(0, math.floor(done.amount + beyond))


def is_short(target: Target, done: PerformedSet) -> bool:
    """Say whether a set fell short of the range so that its load is too heavy.

    Args:
        target: what was asked for.
        done: the set.

    Returns:
        True where neither the repetitions nor those left beyond the reserve asked for reach the low end. A
        hold falls short below three quarters of its seconds.

    Source:
        Coach judgement.

    >>> is_short(Target(1, 6, 10), PerformedSet(Decimal(60), reps=4, rir=0))
    True
    >>> is_short(Target(1, 6, 10), PerformedSet(Decimal(60), reps=4, rir=3))
    False
    """
    if target.is_hold:
        return done.amount < SHORT_HOLD_SHARE * target.low
    return done.amount < target.low and done.amount + (done.left or 0) - target.rir < target.low


def load_after_shortfall(target: Target, done: PerformedSet, equipment: Equipment) -> Decimal | None:
    """Give the load that follows a set that fell short of its range.

    Args:
        target: what was asked for.
        done: the set.
        equipment: what can be made.

    Returns:
        Load, kg, that reaches the middle of the range at the effort asked for (lower_load); of a hold one
        step lighter; None where there is no lighter one.

    Source:
        As lower_load. Middle of the range: coach judgement.

    >>> done = PerformedSet(Decimal(60), reps=4, rir=0)
    >>> float(load_after_shortfall(Target(2, 6, 10), done, Equipment(2500)))
    52.5
    """
    if target.is_hold:
        return equipment.step_lighter(done.load_kg)
    wanted_reps = (target.low + target.high) // 2 + target.rir
    return lower_load(done.load_kg, done.amount, done.left or 0, wanted_reps, equipment)


def _short_set(
    target: Target, sets: Sequence[PerformedSet], reached: Sequence[PerformedSet], is_second_half: bool
) -> PerformedSet | None:
    if sets[-1].is_ended_by_pain:
        return None
    if is_second_half:
        return sets[-1] if is_short(target, sets[-1]) else None
    return None if reached else sets[-1]
