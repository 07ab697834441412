"""Moving one lever of one prescription: the coach's first that is ready, or why none is."""

import math
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from coaching.compute.advice_reasons import Reason
from coaching.compute.draft import Draft
from coaching.compute.equipment import NO_LOAD
from coaching.compute.exposure_result import ExposureResult, amount_at_effort, judge_exposure
from coaching.compute.levers import shorten_rest, slow_tempo
from coaching.compute.load_step import (
    MOST_REPS_FOR_FORMULA,
    TWO_FOR_TWO_REPS,
    choose_heavier_load,
    is_two_for_two,
    predict_reps,
)
from coaching.compute.prescribing import FROM_HISTORY, LOAD, REPS, SECOND_HALF_LOAD, TEMPO, TIME, Member

EXTRA_REPS = 2  # above the range where the next step of the load is too big (design choice)


def move_lever(draft: Draft, levers: Sequence[str]) -> Draft:
    """Move the first of the coach's levers that is ready.

    Args:
        draft: a draft that may move.
        levers: in the coach's order.

    Returns:
        The draft with that lever moved and its reason, then why levers before it were not ready; or as it was
        with the reasons why none is ready.

    Notes:
        reps: below the top of the range, one more than the weakest set; where the next step of the load is
        too big, and under the 2-for-2 rule, up to two above the range. load: every set reached the top at the
        effort asked for, or the 2-for-2 rule holds; the next load lies 2 to 10 % above, not above the cap,
        and is predicted to keep the low end. time, tempo: all sets done within the range. Without a reported
        reserve where one was asked for nothing moves.

    Source:
        As next_block. Two repetitions above the range: design choice.

    >>> from coaching.compute.equipment import Equipment
    >>> from coaching.compute.held_values import hold
    >>> from coaching.compute.prescribing import PastExposure, PerformedSet, Situation, Target
    >>> past = PastExposure(1, (PerformedSet(Decimal(60), reps=8, rir=0),))
    >>> moved = move_lever(hold(Member(Target(1, 6, 10), (past,), Equipment(2500), Situation(day=4))), [REPS])
    >>> moved.lever, moved.aim
    ('reps', 9)
    """
    result, low = draft.result, draft.member.target.low
    if result is None:
        return draft
    if not result.is_effort_known:
        return _because(draft, Reason.EFFORT_UNKNOWN)
    if result.weakest < low:
        return _because(draft, _why_below(result))
    obstacles: list[Reason] = []
    for lever in levers:
        tried = _try(lever, draft, result, may_add_reps=REPS in levers)
        if isinstance(tried, Draft):
            return replace(tried, reasons=tuple(dict.fromkeys((*tried.reasons, *obstacles))))
        obstacles += [] if tried is None else [tried]
    return _because(draft, *(obstacles or [_why_held(draft, result)]))


def _try(lever: str, draft: Draft, result: ExposureResult, *, may_add_reps: bool) -> Draft | Reason | None:
    if lever == REPS:
        return _more_reps(draft, result)
    if lever in (LOAD, SECOND_HALF_LOAD):
        is_own = draft.member.is_second_half == (lever == SECOND_HALF_LOAD)
        return _more_load(lever, draft, result, may_add_reps=may_add_reps) if is_own else None
    if not result.is_complete:
        return Reason.SETS_MISSING
    if lever == TIME:
        rest_s = None if draft.rest_s is None else shorten_rest(draft.rest_s)
        return None if rest_s is None else _by(TIME, replace(draft, rest_s=rest_s), Reason.LESS_REST)
    tempo = slow_tempo(draft.tempo)
    return None if tempo is None else _by(TEMPO, replace(draft, tempo=tempo), Reason.SLOWER)


def _more_reps(draft: Draft, result: ExposureResult, extra: int = 0) -> Draft | None:
    member = draft.member
    if member.situation.is_cautious:
        extra = 0 if _is_load_earned(member, result) else TWO_FOR_TWO_REPS
    if member.target.is_hold or result.weakest >= member.target.high + extra:
        return None
    return _by(REPS, replace(draft, aim=result.weakest + 1), Reason.ONE_MORE_REP)


def _more_load(
    lever: str, draft: Draft, result: ExposureResult, *, may_add_reps: bool
) -> Draft | Reason | None:
    member, target = draft.member, draft.member.target
    if target.load_rule != FROM_HISTORY or draft.load_kg is None:
        return None
    if not _is_load_earned(member, result):
        return Reason.TWO_FOR_TWO_WAITS if member.situation.is_cautious and result.is_top else None
    heavier = choose_heavier_load(result.load_kg, member.equipment)
    if heavier is None or not _keeps_range(member, result, heavier):
        more = _more_reps_first(draft, result) if may_add_reps else None
        return more or Reason.STEP_TOO_BIG
    cap_kg = member.situation.max_load_kg
    if cap_kg is not None and not member.equipment.is_assistance and heavier > cap_kg:
        return Reason.AT_CAP
    return _by(lever, replace(draft, load_kg=heavier, aim=_aim_with(member, result, heavier)), Reason.LOAD_UP)


def _more_reps_first(draft: Draft, result: ExposureResult) -> Draft | None:
    more = _more_reps(draft, result, EXTRA_REPS)
    return more and replace(more, reasons=(Reason.STEP_TOO_BIG, *more.reasons))


def _is_load_earned(member: Member, result: ExposureResult) -> bool:
    if not member.situation.is_cautious:
        return result.is_top
    trained = [past for past in member.history if not past.is_deload][-2:]
    target, equipment = member.target, member.equipment
    if target.is_hold:
        results = [judge_exposure(target, past.sets, equipment) for past in trained]
        return len(results) == 2 and all(each.is_top for each in results)
    last_sets = [past.sets[-1] for past in trained]
    is_same_load = not any(equipment.is_heavier(result.load_kg, each.load_kg) for each in last_sets)
    amounts = [amount_at_effort(target, each) for each in last_sets]
    return result.is_complete and is_same_load and is_two_for_two(target.high, amounts)


def _keeps_range(member: Member, result: ExposureResult, heavier: Decimal) -> bool:
    """Whether the heavier load leaves the low end within reach, as far as the formula may be asked."""
    predicted = _predicted(member, result, heavier)
    is_past_margin = result.weakest >= member.target.high + EXTRA_REPS
    return math.isnan(predicted) or predicted >= member.target.low or is_past_margin


def _aim_with(member: Member, result: ExposureResult, heavier: Decimal) -> int:
    predicted, target = _predicted(member, result, heavier), member.target
    return target.low if math.isnan(predicted) else min(max(math.floor(predicted), target.low), target.high)


def _predicted(member: Member, result: ExposureResult, heavier: Decimal) -> float:
    """Repetitions at the effort asked for; nan where no load may be reckoned."""
    target, is_known = member.target, member.equipment.is_whole_load_known
    if target.is_hold or not is_known or target.high + target.rir > MOST_REPS_FOR_FORMULA:
        return math.nan
    capacity = min(result.least_capacity, MOST_REPS_FOR_FORMULA)
    return predict_reps(result.load_kg, capacity, 0, heavier) - target.rir


def _why_below(result: ExposureResult) -> Reason:
    if result.has_stopped_early:
        return Reason.STOPPED_EARLY
    return Reason.TOO_HARD if result.is_too_hard else Reason.TOP_NOT_REACHED


def _why_held(draft: Draft, result: ExposureResult) -> Reason:
    if result.weakest >= draft.member.target.high and not result.is_complete:
        return Reason.SETS_MISSING
    is_loaded = draft.member.equipment.load_basis != NO_LOAD
    return Reason.NO_LEVER_LEFT if result.is_top or not is_loaded else Reason.TOP_NOT_REACHED


def _by(lever: str, draft: Draft, reason: Reason) -> Draft:
    return replace(draft, lever=lever, reasons=(reason, *draft.reasons))


def _because(draft: Draft, *reasons: Reason) -> Draft:
    return replace(draft, reasons=tuple(dict.fromkeys((*reasons, *draft.reasons))))
