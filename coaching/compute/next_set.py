"""The next set of a session that is under way."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from coaching.compute.advice_reasons import Reason
from coaching.compute.draft import Draft, advise, refuse
from coaching.compute.equipment import NO_LOAD
from coaching.compute.exposure_result import is_short, load_after_shortfall
from coaching.compute.prescribing import Advice, Member, PerformedSet
from coaching.compute.safe_limits import keep_cap


def next_set(member: Member, done: Sequence[PerformedSet], *, planned: Advice | None = None) -> Advice:
    """Say what the next set of today's session is.

    Args:
        member: the prescription; its history is not used.
        done: its work sets of today in order, one or more; before the first one next_prescription answers.
        planned: advice of today's first set; None = not known. The load stays at or below its load.

    Returns:
        Advice whose sets are those still to do: load of the last set, or where that fell short of the
            range
        the load that reaches its middle, rounded down and a step lighter at least. No number after a set that
        pain ended, with an open red flag or stop, or where all sets are done.

    Raises:
        ValueError: no set.

    Notes:
        Within a session the load never goes up; a set that reached the top counts for the next session.

    Source:
        As load_after_shortfall. Never up within a session: coach judgement.

    >>> from coaching.compute.equipment import Equipment
    >>> from coaching.compute.prescribing import Situation, Target
    >>> member = Member(Target(2, 6, 10), (), Equipment(2500), Situation(day=4))
    >>> advice = next_set(member, [PerformedSet(Decimal(60), reps=4, rir=0)])
    >>> float(advice.load_kg), advice.sets
    (52.5, 1)
    """
    if not done:
        raise ValueError(f"done must hold one set or more, got {len(done)}")
    if member.situation.is_blocked:
        return refuse(Reason.REFER_OUT)
    if any(each.is_ended_by_pain for each in done):
        return refuse(Reason.ENDED_BY_PAIN)
    if len(done) >= member.target.sets:
        return refuse(Reason.SETS_DONE)
    return advise(keep_cap(_after(member, done, planned)))


def _after(member: Member, done: Sequence[PerformedSet], planned: Advice | None) -> Draft:
    target, equipment, last = member.target, member.equipment, done[-1]
    draft = Draft(
        member,
        result=None,
        load_kg=None,
        aim=min(max(last.amount, target.low), target.high),
        sets=target.sets - len(done),
        tempo=target.tempo if planned is None else planned.tempo,
        rest_s=target.rest_s if planned is None else planned.rest_s,
        may_move=False,
        reasons=(Reason.SAME_LOAD_TODAY,),
    )
    if equipment.load_basis == NO_LOAD:
        return replace(draft, reasons=(Reason.NO_LOAD,))
    draft = _lower(draft, last) if is_short(target, last) else _with_load(draft, last.load_kg)
    if planned is None or planned.load_kg is None or draft.load_kg is None:
        return draft
    return replace(draft, load_kg=equipment.lighter_of(draft.load_kg, planned.load_kg))


def _lower(draft: Draft, last: PerformedSet) -> Draft:
    target = draft.member.target
    lowered = load_after_shortfall(target, last, draft.member.equipment)
    if lowered is None:
        return _with_load(replace(draft, reasons=(Reason.AT_LOWEST_LOAD,)), last.load_kg)
    aim = (target.low + target.high) // 2
    return replace(draft, load_kg=lowered, aim=aim, reasons=(Reason.SHORT_SET,))


def _with_load(draft: Draft, load_kg: Decimal) -> Draft:
    reachable = draft.member.equipment.at_most(load_kg)
    if reachable is None:
        return replace(draft, reasons=(*draft.reasons, Reason.BELOW_EQUIPMENT))
    return replace(draft, load_kg=reachable)
