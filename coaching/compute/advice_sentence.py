"""Advice in words: what to do with which numbers, and why."""

from collections.abc import Sequence

from coaching.compute.advice_reasons import REASON_TEXTS, Reason
from coaching.compute.equipment import ADDED_TO_BODY_MASS, ASSISTED, PER_HAND, Equipment
from coaching.compute.prescribing import Target

_BASIS_TEXTS = {PER_HAND: " in each hand", ADDED_TO_BODY_MASS: " added", ASSISTED: " of assistance"}


def describe_advice(
    target: Target,
    reasons: Sequence[Reason],
    *,
    sets: int,
    aim: int,
    load: str,
    tempo: str = "",
    rest_s: int | None = None,
) -> str:
    """Say in one sentence what to do and why.

    Args:
        target: what the prescription asks for.
        reasons: one or more, the most important first.
        sets: sets to do.
        aim: repetitions to aim at in each set; not used for a hold.
        load: load in words (describe_load); empty = no number.
        tempo, rest_s: empty and None are left out.

    Returns:
        One sentence with the numbers.

    >>> describe_advice(Target(3, 6, 10), [Reason.DELOAD_WEEK], sets=3, aim=8, load="60 kg")
    '3 sets of 6-10 repetitions with 60 kg, aiming at 8 in each, to failure: a deload week holds every lever.'
    """
    parts = [_work(target, sets) + (f" with {load}" if load else "")]
    if not target.is_hold:
        parts.append(f"aiming at {aim}{' in each' if sets > 1 else ''}")
        parts.append(_effort(target))
    if tempo:
        parts.append(f"tempo {tempo}")
    if rest_s is not None:
        parts.append(f"{rest_s} s of rest")
    return f"{', '.join(parts)}: {explain(reasons)}."


def explain(reasons: Sequence[Reason]) -> str:
    """Put the reasons into words.

    Args:
        reasons: one or more, the most important first.

    Returns:
        Clauses with semicolons between them, no full stop.

    >>> explain([Reason.DELOAD_WEEK])
    'a deload week holds every lever'
    """
    return "; ".join(REASON_TEXTS[reason] for reason in reasons)


def describe_load(thousandths: int, equipment: Equipment) -> str:
    """Say a load as it is entered.

    Args:
        thousandths: load in thousandths of the equipment's unit.
        equipment: tells unit and basis.

    Returns:
        Number, unit and what the load means.

    >>> describe_load(22500, Equipment(2500, load_basis="per_hand"))
    '22.5 kg in each hand'
    """
    return f"{thousandths / 1000:g} {equipment.unit}{_BASIS_TEXTS.get(equipment.load_basis, '')}"


def _work(target: Target, sets: int) -> str:
    noun = "set" if sets == 1 else "sets"
    if target.is_hold:
        return f"{sets} {noun} of {target.duration_s} s"
    reps = f"{target.low}" if target.low == target.high else f"{target.low}-{target.high}"
    return f"{sets} {noun} of {reps} repetitions"


def _effort(target: Target) -> str:
    return f"{target.rir:g} left in reserve" if target.rir else "to failure"
