"""Estimated one-repetition maximum, its inverse, and which sets may carry it."""

import math
from collections.abc import Callable
from dataclasses import dataclass

FORMULAS = ("epley", "brzycki", "lombardi", "mayhew", "oconner", "wathan")
BRZYCKI_POLE_REPS = 37

_SHARE: dict[str, Callable[[float], float]] = {
    "epley": lambda reps: 1 / (1 + reps / 30),
    "brzycki": lambda reps: (BRZYCKI_POLE_REPS - reps) / 36,
    "lombardi": lambda reps: reps**-0.10,
    "mayhew": lambda reps: (52.2 + 41.9 * math.exp(-0.055 * reps)) / 100,
    "oconner": lambda reps: 1 / (1 + reps / 40),
    "wathan": lambda reps: (48.8 + 53.8 * math.exp(-0.075 * reps)) / 100,
}

_REPS: dict[str, Callable[[float], float]] = {
    "epley": lambda share: 30 * (1 / share - 1),
    "brzycki": lambda share: BRZYCKI_POLE_REPS - 36 * share,
    "lombardi": lambda share: share**-10,
    "mayhew": lambda share: -math.log((100 * share - 52.2) / 41.9) / 0.055,
    "oconner": lambda share: 40 * (1 / share - 1),
    "wathan": lambda share: -math.log((100 * share - 48.8) / 53.8) / 0.075,
}


@dataclass(frozen=True, slots=True)
class EstimateBand:
    """e1RM for one rep fewer, as reported, and one rep more, in kilograms."""

    low_kg: float
    mid_kg: float
    high_kg: float


def share_of_1rm(reps: float, rir: float = 0, formula: str = "epley") -> float:
    """Share of the one-repetition maximum that can be lifted for `reps` with `rir` in reserve.

    Args:
        reps: repetitions done, 1 or more.
        rir: repetitions in reserve, 0 or more; half steps are fine.
        formula: one of FORMULAS.

    Returns:
        Share in (0, 1.1]; exactly 1 for one rep at failure.

    Raises:
        ValueError: unknown formula, reps below 1, rir below 0, or reps + rir at or above the formula's pole.

    Notes:
        At one rep to failure every formula gives 1: by definition the load is the maximum.

    Source:
        Epley 1985, Poundage Chart; Brzycki 1993, JOPERD 64(1):88-90 in the form 36/(37 - r); Lombardi 1989;
        Mayhew 1992, J Appl Sport Sci Res 6(4):200-206; O'Conner 1989; Wathan 1994, in Baechle (ed), 435-446.

    >>> round(share_of_1rm(5), 4)
    0.8571
    """
    if formula not in _SHARE:
        raise ValueError(f"formula must be one of {', '.join(FORMULAS)}, got {formula}")
    if not reps >= 1:
        raise ValueError(f"reps must be 1 or more, got {reps}")
    if not rir >= 0:
        raise ValueError(f"rir must be 0 or more, got {rir}")
    to_failure = reps + rir
    if not math.isfinite(to_failure) or (formula == "brzycki" and to_failure >= BRZYCKI_POLE_REPS):
        raise ValueError(f"reps + rir must lie below {BRZYCKI_POLE_REPS} for {formula}, got {to_failure}")
    return 1.0 if to_failure == 1 else _SHARE[formula](to_failure)


def estimated_1rm(load_kg: float, reps: float, rir: float = 0, formula: str = "epley") -> float:
    """Estimated one-repetition maximum of a set, in the unit of the load.

    Args:
        load_kg: load lifted, above 0 and finite.
        reps, rir, formula: see share_of_1rm.

    Returns:
        e1RM, in kilograms for a load in kilograms.

    Raises:
        ValueError: load not above 0 or not finite, or as share_of_1rm.

    Notes:
        Says nothing about whether the set may be used: see is_valid_for_1rm. Never mix formulas in one trend.

    Source:
        See share_of_1rm.

    >>> round(estimated_1rm(100, 5, rir=2), 4)
    123.3333
    """
    if not (load_kg > 0 and math.isfinite(load_kg)):
        raise ValueError(f"load_kg must be above 0 and finite, got {load_kg}")
    return load_kg / share_of_1rm(reps, rir, formula)


def estimated_1rm_band(load_kg: float, reps: float, rir: float = 0, formula: str = "epley") -> EstimateBand:
    """e1RM with the band of one rep misjudged either way; the lower end never falls below the load.

    >>> estimated_1rm_band(100, 5).low_kg < 116.7 < estimated_1rm_band(100, 5).high_kg
    True
    """
    middle = estimated_1rm(load_kg, reps, rir, formula)
    to_failure = reps + rir
    low = estimated_1rm(load_kg, max(to_failure - 1, 1), 0, formula)
    return EstimateBand(low, middle, estimated_1rm(load_kg, to_failure + 1, 0, formula))


def load_for_reps(one_rm_kg: float, reps: float, rir: float = 0, formula: str = "epley") -> float:
    """Load with which `reps` leave `rir` in reserve.

    Raises:
        ValueError: one_rm_kg not above 0 or not finite, or as share_of_1rm.

    >>> round(load_for_reps(120, 6), 6)
    100.0
    """
    if not (one_rm_kg > 0 and math.isfinite(one_rm_kg)):
        raise ValueError(f"one_rm_kg must be above 0 and finite, got {one_rm_kg}")
    return one_rm_kg * share_of_1rm(reps, rir, formula)


def reps_for_load(one_rm_kg: float, load_kg: float, formula: str = "epley") -> float:
    """Repetitions to failure that a load allows; 1 where the load is the maximum, nan above it.

    Args:
        one_rm_kg, load_kg: same unit, above 0 and finite.
        formula: one of FORMULAS.

    Returns:
        Repetitions, 1 or more and not rounded; nan where the load exceeds the maximum, or where the curve
        of Mayhew or Wathan never comes down to so small a share.

    Raises:
        ValueError: unknown formula, or a load or maximum not above 0 or not finite.

    >>> round(reps_for_load(60 * (1 + 12 / 30), 62.5), 2)
    10.32
    """
    if formula not in _REPS:
        raise ValueError(f"formula must be one of {', '.join(FORMULAS)}, got {formula}")
    for name, value in (("one_rm_kg", one_rm_kg), ("load_kg", load_kg)):
        if not (value > 0 and math.isfinite(value)):
            raise ValueError(f"{name} must be above 0 and finite, got {value}")
    share = load_kg / one_rm_kg
    floor = {"mayhew": 0.522, "wathan": 0.488}.get(formula, 0.0)
    if share > 1 or share <= floor:
        return math.nan
    return max(1.0, _REPS[formula](share))


def is_valid_for_1rm(
    reps: float,
    rir: float,
    *,
    ended_by_pain: bool,
    is_fresh: bool,
    is_work_set: bool = True,
    max_reps_and_rir: float = 10,
    max_rir: float = 4,
) -> bool:
    """Whether a set may feed an e1RM trend.

    Args:
        reps, rir: as reported.
        ended_by_pain: the set stopped because of pain; it measures tolerance, not strength.
        is_fresh: not second in a back-to-back pair, except in that pair's own trend.
        is_work_set: not a warm-up.
        max_reps_and_rir: 10, or up to 15 for the trend of one prescription.
        max_rir: reserve above which a guess is worth little.

    Returns:
        True where it may.

    Source:
        Error grows with repetitions: Mayhew 2008, J Strength Cond Res 22(5):1570-1577; Whisenant 2003,
        J Strength Cond Res 17(2):221-227. The limits are a design choice.

    >>> is_valid_for_1rm(5, 2, ended_by_pain=False, is_fresh=True)
    True
    """
    is_in_range = reps >= 1 and 0 <= rir <= max_rir and reps + rir <= max_reps_and_rir
    return is_in_range and is_work_set and is_fresh and not ended_by_pain
