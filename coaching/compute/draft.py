"""Advice in the making: the values a prescription stands at, and what is to become of them."""

from dataclasses import dataclass
from decimal import Decimal

from coaching.compute.advice_reasons import Reason
from coaching.compute.advice_sentence import describe_advice, describe_load, explain
from coaching.compute.exposure_result import ExposureResult
from coaching.compute.prescribing import Advice, Member


@dataclass(frozen=True, slots=True)
class Draft:
    """Values of the next session, and whether a lever may move them; result None = no exposure."""

    member: Member
    result: ExposureResult | None
    load_kg: Decimal | None
    aim: int
    sets: int
    tempo: str
    rest_s: int | None
    may_move: bool
    reasons: tuple[Reason, ...]
    lever: str | None = None


def advise(draft: Draft) -> Advice:
    """Make advice of a draft.

    Args:
        draft: values and one or more reasons.

    Returns:
        Advice with its sentence.

    >>> from coaching.compute.equipment import Equipment
    >>> from coaching.compute.prescribing import Situation, Target
    >>> member = Member(Target(2, 6, 10), (), Equipment(2500), Situation(day=0))
    >>> advise(Draft(member, None, None, 6, 2, "", None, False, (Reason.NO_HISTORY,))).reps_aim
    6
    """
    target, equipment = draft.member.target, draft.member.equipment
    thousandths = None if draft.load_kg is None else equipment.thousandths_of(draft.load_kg)
    return Advice(
        load_kg=draft.load_kg,
        load_thousandths=thousandths,
        load_unit=None if thousandths is None else equipment.unit,
        sets=draft.sets,
        reps_low=target.reps_low,
        reps_high=target.reps_high,
        reps_aim=None if target.is_hold else draft.aim,
        duration_s=target.duration_s,
        rir_target=None if target.is_hold else target.rir,
        tempo=draft.tempo,
        rest_s=draft.rest_s,
        lever=draft.lever,
        reasons=draft.reasons,
        sentence=describe_advice(
            target,
            draft.reasons,
            sets=draft.sets,
            aim=draft.aim,
            load="" if thousandths is None else describe_load(thousandths, equipment),
            tempo=draft.tempo,
            rest_s=draft.rest_s,
        ),
    )


def refuse(reason: Reason) -> Advice:
    """Give no number at all, and say why.

    Args:
        reason: why there is no advice.

    Returns:
        Advice without numbers.

    >>> refuse(Reason.REFER_OUT).load_kg is None
    True
    """
    return Advice(
        load_kg=None,
        load_thousandths=None,
        load_unit=None,
        sets=None,
        reps_low=None,
        reps_high=None,
        reps_aim=None,
        duration_s=None,
        rir_target=None,
        tempo="",
        rest_s=None,
        lever=None,
        reasons=(reason,),
        sentence=f"No advice: {explain([reason])}.",
    )
