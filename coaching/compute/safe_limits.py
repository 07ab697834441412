"""What keeps a prescription back, only ever to the lighter side: pain, deload, lay-off, the coach's cap."""

from dataclasses import replace
from decimal import Decimal

from coaching.compute.advice_reasons import Reason
from coaching.compute.draft import Draft
from coaching.compute.exposure_result import judge_exposure
from coaching.compute.lay_off import layoff_start
from coaching.compute.pain_gate import FAILED, UNKNOWN
from coaching.compute.prescribing import Member, PastExposure


def keep_within_limits(draft: Draft) -> Draft:
    """Hold back or lower a draft for pain, a deload week, a lay-off and the coach's cap.

    Args:
        draft: what the prescription stands at.

    Returns:
        Draft that is never heavier; may_move is False where something holds it back.

    Source:
        Order of the steps: design choice.

    >>> from coaching.compute.equipment import Equipment
    >>> from coaching.compute.held_values import hold
    >>> from coaching.compute.prescribing import PerformedSet, Situation, Target
    >>> past = PastExposure(1, (PerformedSet(Decimal(60), reps=8, rir=0),))
    >>> member = Member(Target(1, 6, 10), (past,), Equipment(2500), Situation(day=3, is_deload=True))
    >>> keep_within_limits(hold(member)).reasons
    (<Reason.DELOAD_WEEK: 'deload_week'>,)
    """
    for limit in (_ended_by_pain, _pain_gate, _deload, _lay_off, keep_cap):
        draft = limit(draft)
    return draft


def load_after_pain(member: Member) -> Decimal | None:
    """Give the load one step below the last one that passed the pain gate.

    Args:
        member: the prescription; its history has at least one exposure.

    Returns:
        Load that can be made, kg: one step below the load of the last exposure that passed before the newest
        one that failed, and below that of the failure itself. Where none ever passed, one step below the
        lowest load of the history. None where the equipment has no lighter load.

    Notes:
        Where no exposure failed by itself (a week that rises), the last one that passed counts. An exposure
        that went well after the failure does not lower the load once more.

    Source:
        Coach judgement.

    >>> from coaching.compute.equipment import Equipment
    >>> from coaching.compute.prescribing import PerformedSet, Situation, Target
    >>> past = [PastExposure(day, (PerformedSet(Decimal(load), reps=8, rir=0),), passed)
    ...         for day, load, passed in [(1, "60", True), (4, "62.5", False)]]
    >>> float(load_after_pain(Member(Target(1, 6, 10), tuple(past), Equipment(2500), Situation(day=8))))
    57.5
    """
    failed = [place for place, past in enumerate(member.history) if past.had_passed_gate is False]
    until = failed[-1] if failed else len(member.history)
    passed = [past for past in member.history[:until] if past.had_passed_gate]
    loads = [_load_of(member, passed[-1])] if passed else _all_loads(member)
    if failed:
        loads.append(_load_of(member, member.history[failed[-1]]))
    return member.equipment.step_lighter(member.equipment.lighter_of(*loads))


def keep_cap(draft: Draft) -> Draft:
    """Bring a load down to the coach's cap.

    Args:
        draft: any draft.

    Returns:
        The same where there is no cap, no load, or assistance; else a load at or below the cap, or none where
        the equipment cannot go so low.

    Source:
        Design choice.

    >>> from coaching.compute.equipment import Equipment
    >>> from coaching.compute.held_values import hold
    >>> from coaching.compute.prescribing import Situation, Target
    >>> target = Target(1, 6, 10, load_rule="fixed", load_kg=Decimal(60))
    >>> member = Member(target, (), Equipment(2500), Situation(day=3, max_load_kg=Decimal(51)))
    >>> float(keep_cap(hold(member)).load_kg)
    50.0
    """
    cap_kg, equipment = draft.member.situation.max_load_kg, draft.member.equipment
    if cap_kg is None or draft.load_kg is None or equipment.is_assistance or draft.load_kg <= cap_kg:
        return draft
    reachable = equipment.at_most(cap_kg)
    reason = Reason.CAP_BELOW_EQUIPMENT if reachable is None else Reason.CAPPED
    return _held(replace(draft, load_kg=reachable), reason)


def _ended_by_pain(draft: Draft) -> Draft:
    is_ended = draft.result is not None and draft.result.is_ended_by_pain
    return _held(draft, Reason.ENDED_BY_PAIN) if is_ended else draft


def _pain_gate(draft: Draft) -> Draft:
    gates = draft.member.situation.gates
    failed = [gate for gate in gates if gate.verdict == FAILED]
    unknown = [gate for gate in gates if gate.verdict == UNKNOWN]
    if failed:
        causes = dict.fromkeys(Reason(gate.reason) for gate in failed)
        return _held(_lowered_after_pain(draft), Reason.PAIN_FAILED, *causes)
    if unknown:
        causes = dict.fromkeys(Reason(gate.reason) for gate in unknown)
        return _held(_not_above_last(draft), Reason.PAIN_UNKNOWN, *causes)
    return draft


def _lowered_after_pain(draft: Draft) -> Draft:
    member, equipment = draft.member, draft.member.equipment
    draft = _not_above_last(draft)
    if draft.load_kg is None:
        return draft
    lighter = load_after_pain(member) if member.history else equipment.step_lighter(draft.load_kg)
    if lighter is None:
        return _held(replace(draft, load_kg=equipment.at_most(draft.load_kg)), Reason.AT_LOWEST_LOAD)
    return replace(draft, load_kg=equipment.lighter_of(lighter, draft.load_kg))


def _not_above_last(draft: Draft) -> Draft:
    member, equipment = draft.member, draft.member.equipment
    if draft.load_kg is None or not member.history:
        return draft
    last_kg = equipment.at_most(_load_of(member, member.history[-1]))
    if last_kg is None:
        return _held(replace(draft, load_kg=None), Reason.BELOW_EQUIPMENT)
    return replace(draft, load_kg=equipment.lighter_of(draft.load_kg, last_kg))


def _deload(draft: Draft) -> Draft:
    return _held(draft, Reason.DELOAD_WEEK) if draft.member.situation.is_deload else draft


def _lay_off(draft: Draft) -> Draft:
    member, equipment = draft.member, draft.member.equipment
    if not member.history:
        return draft
    start = layoff_start(member.situation.day - member.history[-1].day)
    if not start.is_lay_off:
        return draft
    draft = _held(replace(draft, sets=start.sets_of(draft.sets)), Reason.LAY_OFF)
    if draft.load_kg is None:
        return draft
    last_kg = _load_of(member, member.history[-1])
    share = Decimal(repr(start.load_share))
    wanted_kg = last_kg * (2 - share) if equipment.is_assistance else last_kg * share
    reachable = equipment.at_most(wanted_kg)
    if reachable is None:
        lowest_kg = equipment.lighter_of(draft.load_kg, equipment.lowest_kg)
        return _held(replace(draft, load_kg=lowest_kg), Reason.AT_LOWEST_LOAD)
    return replace(draft, load_kg=equipment.lighter_of(draft.load_kg, reachable))


def _held(draft: Draft, *reasons: Reason) -> Draft:
    """What holds a lever back stands before what says where the load comes from."""
    return replace(draft, may_move=False, reasons=tuple(dict.fromkeys((*reasons, *draft.reasons))))


def _load_of(member: Member, past: PastExposure) -> Decimal:
    result = judge_exposure(member.target, past.sets, member.equipment, is_second_half=member.is_second_half)
    return result.load_kg


def _all_loads(member: Member) -> list[Decimal]:
    return [each.load_kg for past in member.history for each in past.sets]
