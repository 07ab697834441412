"""What to do next: one lever of a block at a time, from its own history, unless something holds it back."""

from collections.abc import Sequence
from dataclasses import replace

from coaching.compute.advice_reasons import Reason
from coaching.compute.draft import Draft, advise, refuse
from coaching.compute.held_values import hold
from coaching.compute.lever_moves import move_lever
from coaching.compute.prescribing import LEVERS, LOAD, REPS, Advice, Member
from coaching.compute.safe_limits import keep_within_limits


def next_prescription(member: Member, levers: Sequence[str] = (REPS, LOAD)) -> Advice:
    """Say what to do next with a prescription that stands alone.

    Args:
        member: the prescription with its own history, equipment and situation.
        levers: the coach's, in the order in which they are to move.

    Returns:
        Advice; at most one lever moves.

    Raises:
        ValueError: as next_block.

    Source:
        As next_block.

    >>> from coaching.compute.equipment import Equipment
    >>> from decimal import Decimal
    >>> from coaching.compute.prescribing import PastExposure, PerformedSet, Situation, Target
    >>> done = PastExposure(1, (PerformedSet(Decimal(60), reps=10, rir=0),))
    >>> advice = next_prescription(Member(Target(1, 6, 10), (done,), Equipment(2500), Situation(day=4)))
    >>> float(advice.load_kg), advice.reps_aim, advice.lever
    (62.5, 8, 'load')
    """
    return next_block((member,), levers)[0]


def next_block(members: Sequence[Member], levers: Sequence[str]) -> tuple[Advice, ...]:
    """Say what to do next with a back-to-back block, of which one lever moves at a time.

    Args:
        members: its prescriptions in order, each with its own history.
        levers: the coach's, in the order in which they are to move: reps, load, second_half_load, time,
            tempo. The load of a second half moves by second_half_load only, every other load by load only.

    Returns:
        Advice for each member. Where a member is held back (pain, deload, lay-off, a range that was missed),
        no lever of the block moves.

    Raises:
        ValueError: a lever that is unknown or named twice; as hold.

    Notes:
        Double progression: one more repetition with the same load until every set reaches the top of the
            range
        at the effort asked for; then the next lever. A rise of the load takes repetitions back to what Epley
        predicts, within the range; in ranges above 10 (with those in reserve) to the low end. Of two members
        that may move, one that reached its top goes first, then the coach's order of levers, then the member
        that stands lower in its range, then the first.

    Source:
        ACSM 2009 (bounds of a step), Baechle and Earle (2-for-2), Epley 1985. One lever at a time: coach
        judgement.

    >>> from coaching.compute.equipment import Equipment
    >>> from decimal import Decimal
    >>> from coaching.compute.prescribing import PastExposure, PerformedSet, Situation, Target
    >>> def half(load, reps, is_second):
    ...     past = PastExposure(1, (PerformedSet(Decimal(load), reps=reps, rir=0),))
    ...     return Member(Target(1, 6, 10), (past,), Equipment(2500), Situation(day=4), is_second)
    >>> [each.lever for each in next_block([half(30, 7, False), half(60, 10, True)], LEVERS)]
    [None, 'second_half_load']
    """
    _check_levers(levers)
    drafts = [keep_within_limits(hold(member)) for member in members]
    is_held = any(member.situation.is_blocked for member in members) or not all(
        draft.may_move for draft in drafts
    )
    drafts = [_held_with(draft) for draft in drafts] if is_held else _move_one(drafts, levers)
    return tuple(
        refuse(Reason.REFER_OUT) if draft.member.situation.is_blocked else advise(draft) for draft in drafts
    )


def _check_levers(levers: Sequence[str]) -> None:
    if set(levers) - set(LEVERS) or len(set(levers)) < len(levers):
        raise ValueError(f"levers must be some of {', '.join(LEVERS)}, each once, got {', '.join(levers)}")


def _held_with(draft: Draft) -> Draft:
    return replace(draft, reasons=(Reason.OTHER_HALF_HELD, *draft.reasons)) if draft.may_move else draft


def _move_one(drafts: Sequence[Draft], levers: Sequence[str]) -> list[Draft]:
    moved = [move_lever(draft, levers) for draft in drafts]
    movers = [place for place, draft in enumerate(moved) if draft.lever is not None]
    if not movers:
        return moved
    first = min(movers, key=lambda place: _rank(moved[place], levers))
    return [
        draft if place == first or draft.lever is None else _waiting(drafts[place])
        for place, draft in enumerate(moved)
    ]


def _waiting(draft: Draft) -> Draft:
    return replace(draft, reasons=(Reason.OTHER_HALF_MOVES, *draft.reasons))


def _rank(draft: Draft, levers: Sequence[str]) -> tuple[bool, int, float]:
    target, result = draft.member.target, draft.result
    weakest = target.low if result is None else result.weakest
    place_in_range = (weakest - target.low) / max(1, target.high - target.low)
    return draft.lever == REPS, levers.index(draft.lever or REPS), place_in_range
