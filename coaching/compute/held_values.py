"""Where a prescription stands before any lever moves: load by its rule, repetitions, tempo and rest."""

from dataclasses import replace
from decimal import Decimal

from coaching.compute.advice_reasons import Reason
from coaching.compute.draft import Draft
from coaching.compute.equipment import NO_LOAD
from coaching.compute.exposure import is_tempo
from coaching.compute.exposure_result import judge_exposure, load_after_shortfall
from coaching.compute.levers import held_rest_s, held_tempo
from coaching.compute.load_step import MOST_REPS_FOR_FORMULA
from coaching.compute.prescribing import FIXED, FROM_HISTORY, SHARE_OF_1RM, Member
from coaching.compute.strength import load_for_reps


def hold(member: Member) -> Draft:
    """Give the values at which a prescription stands, its load lowered where the range was missed.

    Args:
        member: the prescription with its history, oldest first.

    Returns:
        Draft whose lever is None; may_move tells whether one may move.

    Raises:
        ValueError: history is out of order or lies after the day of the advice.

    Source:
        Design choice.

    >>> from coaching.compute.equipment import Equipment
    >>> from coaching.compute.prescribing import Situation, Target
    >>> hold(Member(Target(2, 6, 10), (), Equipment(2500), Situation(day=0))).reasons
    (<Reason.NO_HISTORY: 'no_history'>,)
    """
    _check_days(member)
    draft = _by_load_rule(_stand(member))
    return _lower_after_shortfall(draft) if member.target.load_rule == FROM_HISTORY else draft


def _check_days(member: Member) -> None:
    days = [*(past.day for past in member.history), member.situation.day]
    if days != sorted(days):
        raise ValueError(f"history must be in order and not after the day of the advice, got days {days}")


def _stand(member: Member) -> Draft:
    target, trained = member.target, [past for past in member.history if not past.is_deload]
    result = None
    if member.history:
        newest = trained[-1] if trained else member.history[-1]
        result = judge_exposure(target, newest.sets, member.equipment, is_second_half=member.is_second_half)
    tempos = [past.tempo for past in trained if is_tempo(past.tempo)]
    rests = [past.rest_s for past in trained if past.rest_s is not None]
    return Draft(
        member,
        result,
        load_kg=None,
        aim=target.low if result is None else min(max(result.weakest, target.low), target.high),
        sets=target.sets,
        tempo=held_tempo(target.tempo, tempos[-1] if tempos else ""),
        rest_s=held_rest_s(target.rest_s, rests[-1] if rests else None),
        may_move=result is not None,
        reasons=(),
    )


def _by_load_rule(draft: Draft) -> Draft:
    member = draft.member
    target, equipment = member.target, member.equipment
    if equipment.load_basis == NO_LOAD:
        return replace(draft, reasons=(Reason.NO_LOAD,))
    if target.load_rule == FIXED and target.load_kg is not None:
        return _with_load(draft, target.load_kg, Reason.FIXED_LOAD)
    if target.load_rule == SHARE_OF_1RM and target.share_of_1rm is not None:
        one_rm_kg = _usable_one_rm_kg(member)
        if one_rm_kg is None:
            return replace(draft, may_move=False, reasons=(Reason.NO_ONE_RM,))
        wanted_kg = Decimal(repr(one_rm_kg)) * Decimal(repr(target.share_of_1rm))
        return _with_load(draft, wanted_kg, Reason.SHARE_OF_ONE_RM)
    if draft.result is None:
        return _first_time(draft)
    return _with_load(draft, draft.result.load_kg)


def _with_load(draft: Draft, load_kg: Decimal, *reasons: Reason) -> Draft:
    reachable = draft.member.equipment.at_most(load_kg)
    if reachable is None:
        return replace(draft, may_move=False, reasons=(*reasons, Reason.BELOW_EQUIPMENT))
    return replace(draft, load_kg=reachable, reasons=reasons)


def _first_time(draft: Draft) -> Draft:
    member, target = draft.member, draft.member.target
    one_rm_kg, reps = _usable_one_rm_kg(member), target.high + target.rir
    if one_rm_kg is None or target.is_hold or reps > MOST_REPS_FOR_FORMULA:
        return replace(draft, reasons=(Reason.NO_HISTORY,))
    wanted_kg = Decimal(repr(load_for_reps(one_rm_kg, reps)))
    return _with_load(draft, wanted_kg, Reason.FROM_ONE_RM)


def _usable_one_rm_kg(member: Member) -> float | None:
    """The maximum of a fresh lift says nothing about a pair's second half, nor about a part of the load."""
    is_foreign = member.is_second_half and member.situation.is_one_rm_fresh
    return None if is_foreign or not member.equipment.is_whole_load_known else member.situation.one_rm_kg


def _lower_after_shortfall(draft: Draft) -> Draft:
    result, target = draft.result, draft.member.target
    if result is None or result.short_set is None or draft.load_kg is None or result.is_ended_by_pain:
        return draft
    lowered = load_after_shortfall(target, result.short_set, draft.member.equipment)
    if lowered is None:
        return replace(draft, may_move=False, reasons=(Reason.AT_LOWEST_LOAD,))
    aim = (target.low + target.high) // 2
    return replace(draft, load_kg=lowered, aim=aim, may_move=False, reasons=(Reason.SHORT_LAST_TIME,))
