"""Estimated one-repetition maximum (e1RM), its inverse, and the gate that says which sets may feed it."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from coaching.compute.arrays import ArrayLike, NDArray

Floats = NDArray[np.float64]

BRZYCKI_POLE = 37.0
HIGHEST_CAP = 15

# Repetitions to failure and the percentage of the 1RM they stand for. The two printed variants of the NSCA
# (National Strength and Conditioning Association) agree up to 10 repetitions and differ at 12.
NSCA_TRAINING_LOAD_CHART: Mapping[int, int] = MappingProxyType(
    {1: 100, 2: 95, 3: 93, 4: 90, 5: 87, 6: 85, 7: 83, 8: 80, 9: 77, 10: 75, 12: 70}
)
# Baechle and Earle (eds), Essentials of Strength Training and Conditioning; 11, 12 and 15 from memory.
NSCA_TEXTBOOK_TABLE: Mapping[int, int] = MappingProxyType(
    {1: 100, 2: 95, 3: 93, 4: 90, 5: 87, 6: 85, 7: 83, 8: 80, 9: 77, 10: 75, 11: 70, 12: 67, 15: 65}
)


@dataclass(frozen=True, slots=True)
class OneRmBand:
    """e1RM in the unit of the load, for one repetition in reserve less, as reported, and one more."""

    low: float
    mid: float
    high: float


def _epley(reps: Floats) -> Floats:
    return 1 + reps / 30


def _brzycki(reps: Floats) -> Floats:
    return 36 / (BRZYCKI_POLE - reps)


def _lombardi(reps: Floats) -> Floats:
    return np.asarray(reps**0.1)


def _mayhew(reps: Floats) -> Floats:
    return 100 / (52.2 + 41.9 * np.exp(-0.055 * reps))


def _oconner(reps: Floats) -> Floats:
    return 1 + reps / 40


def _wathan(reps: Floats) -> Floats:
    return 100 / (48.8 + 53.8 * np.exp(-0.075 * reps))


_MULTIPLE_OF_LOAD: Mapping[str, Callable[[Floats], Floats]] = MappingProxyType(
    {
        "epley": _epley,
        "brzycki": _brzycki,
        "lombardi": _lombardi,
        "mayhew": _mayhew,
        "oconner": _oconner,
        "wathan": _wathan,
    }
)
FORMULAS = tuple(_MULTIPLE_OF_LOAD)


def estimated_1rm(load_kg: float, reps: float, rir: float = 0, formula: str = "epley") -> float:
    """Estimate the one-repetition maximum from one set.

    Args:
        load_kg: load lifted, above 0; any unit, the result has the same.
        reps: repetitions done, 1 or more; with rir below the formula's pole (Brzycki 37).
        rir: repetitions in reserve, 0 = to failure; half steps and other fractions are allowed.
        formula: epley, brzycki, lombardi, mayhew, oconner or wathan.

    Returns:
        e1RM in the unit of the load; one repetition to failure returns the load for every formula.

    Raises:
        ValueError: an argument is out of its range (nan and infinity included); names it, the rule and the
            value.

    Notes:
        The formula is applied to reps + rir. It assumes one range of motion and a rested lifter. It does not
        judge whether the set is fit for a trend (see is_valid_for_1rm), and it does not correct the reported
        reserve, which people understate by 0.95 on average, with wide differences between them (Halperin et
        al. 2022, Sports Med 52(2):377-390). Never mix formulas within one trend.

    Source:
        Epley 1985, Poundage Chart; Brzycki 1993, JOPERD 64(1):88-90, form 36/(37 - r); Lombardi 1989; Mayhew
        et al. 1992, J Appl Sport Sci Res 6(4):200-206; O'Conner et al. 1989; Wathan 1994 in Baechle (ed),
        Essentials of Strength Training and Conditioning. One repetition = load: common practice, no source.

    >>> round(estimated_1rm(100, 5, rir=2), 2)
    123.33
    """
    _check_above_zero("load_kg", load_kg)
    return load_kg * _multiple_of_load(reps, rir, formula)


def estimated_1rm_many(
    load_kg: ArrayLike, reps: ArrayLike, rir: ArrayLike = 0.0, formula: str = "epley"
) -> Floats:
    """Estimate the one-repetition maximum of many sets at once.

    Args:
        load_kg, reps, rir: arrays that broadcast; see estimated_1rm.
        formula: one formula for all.

    Returns:
        e1RM in the unit of the load, shape of the broadcast; nan where a value is nan or out of range.

    Raises:
        ValueError: unknown formula.

    Source:
        As estimated_1rm.

    >>> estimated_1rm_many([100.0, 100.0], [5, 0]).round(2)
    array([116.67,    nan])
    """
    multiple = _formula(formula)
    load, done, left = np.broadcast_arrays(
        *(np.asarray(each, dtype=np.float64) for each in (load_kg, reps, rir))
    )
    to_failure = done + left
    is_defined = (load > 0) & (done >= 1) & (left >= 0) & (to_failure < _pole(formula)) & np.isfinite(load)
    safe = np.where(is_defined, to_failure, 2.0)
    estimate = load * np.where(safe == 1, 1.0, multiple(safe))
    return np.where(is_defined, estimate, np.nan)


def estimated_1rm_band(load_kg: float, reps: float, rir: float = 0, formula: str = "epley") -> OneRmBand:
    """Estimate the one-repetition maximum with the band that one repetition of misjudged reserve makes.

    Args:
        load_kg, reps, rir, formula: as for estimated_1rm.

    Returns:
        OneRmBand for reps + rir - 1 (not below 1), reps + rir and reps + rir + 1; high is nan where that
        reaches the formula's pole.

    Raises:
        ValueError: as estimated_1rm.

    Source:
        One repetition: mean error of 0.95 in Halperin et al. 2022, Sports Med 52(2):377-390; the band is a
        design choice.

    >>> band = estimated_1rm_band(100, 5, rir=2)
    >>> round(band.low), round(band.high, 2)
    (120, 126.67)
    """
    mid = estimated_1rm(load_kg, reps, rir, formula)
    fewer, more = max(1.0, reps + rir - 1), reps + rir + 1
    return OneRmBand(
        low=float(estimated_1rm_many(load_kg, fewer, 0.0, formula)),
        mid=mid,
        high=float(estimated_1rm_many(load_kg, more, 0.0, formula)),
    )


def load_for_reps(one_rm_kg: float, reps: float, rir: float = 0, formula: str = "epley") -> float:
    """Give the load with which `reps` repetitions leave `rir` in reserve.

    Args:
        one_rm_kg: one-repetition maximum, above 0.
        reps, rir, formula: as for estimated_1rm.

    Returns:
        Load in the unit of one_rm_kg, not rounded to the equipment.

    Raises:
        ValueError: as estimated_1rm.

    Source:
        Inverse of estimated_1rm.

    >>> round(load_for_reps(120, 5, formula="brzycki"), 2)
    106.67
    """
    _check_above_zero("one_rm_kg", one_rm_kg)
    return one_rm_kg / _multiple_of_load(reps, rir, formula)


def reps_for_load(one_rm_kg: float, load_kg: float, formula: str = "epley") -> float:
    """Give the repetitions to failure that a load allows.

    Args:
        one_rm_kg: one-repetition maximum, above 0.
        load_kg: load in the same unit, above 0.
        formula: as for estimated_1rm.

    Returns:
        Repetitions, a fraction in general; 0 for a load above the maximum, 1 for one that is lighter by less
        than the formula's first step, nan for one so light that the formula gives no number (Mayhew 52.2 %
        of the maximum and less, Wathan 48.8 %).

    Raises:
        ValueError: a load is not above 0, or the formula is unknown.

    Source:
        Inverse of estimated_1rm.

    >>> round(reps_for_load(estimated_1rm(60, 12), 62.5), 2)
    10.32
    """
    _formula(formula)
    _check_above_zero("one_rm_kg", one_rm_kg)
    _check_above_zero("load_kg", load_kg)
    share = load_kg / one_rm_kg
    if share > 1:
        return 0.0
    reps = _reps_at_share(share, formula)
    return 1.0 if reps < 1 else reps


def share_of_1rm(reps: float, rir: float = 0, formula: str = "epley") -> float:
    """Give the share of the one-repetition maximum that such a set uses.

    Args:
        reps, rir, formula: as for estimated_1rm.

    Returns:
        Load / e1RM, above 0 and at most 1.

    Raises:
        ValueError: as estimated_1rm.

    Source:
        Inverse of estimated_1rm.

    >>> share_of_1rm(10)
    0.75
    """
    return 1 / _multiple_of_load(reps, rir, formula)


def is_valid_for_1rm(
    reps: float,
    rir: float | None,
    *,
    ended_by_pain: bool,
    is_fresh: bool,
    is_work_set: bool = True,
    is_full_range: bool = True,
    is_assisted: bool = False,
    max_reps_and_rir: float = 10,
    max_rir: float = 4,
) -> bool:
    """Say whether a set may feed an e1RM trend.

    Args:
        reps: repetitions done.
        rir: repetitions in reserve, 0 = to failure; None or nan = not known, which is not valid.
        ended_by_pain: such a set measures tolerance, not strength.
        is_fresh: not the second half of a back-to-back pair, or the trend is that pair's own.
        is_work_set: False for warm-ups.
        is_full_range: over the range of motion that was prescribed.
        is_assisted: a partner or a machine took part of the load.
        max_reps_and_rir: cap of reps + rir; 15 at most, and above 10 only for a trend of one prescription.
        max_rir: cap of the reserve, beyond which it is a guess.

    Returns:
        True where the set is a fresh, unaided work set near enough to failure that pain did not end.

    Raises:
        ValueError: the cap lies above 15, where the formulas part.

    Source:
        Design choice; error grows with repetitions (Whisenant et al. 2003, JSCR 17(2):221-227).

    >>> is_valid_for_1rm(8, 2, ended_by_pain=False, is_fresh=True)
    True
    """
    if not 1 <= max_reps_and_rir <= HIGHEST_CAP:
        raise ValueError(f"max_reps_and_rir must lie in 1 to {HIGHEST_CAP}, got {max_reps_and_rir}")
    if rir is None or ended_by_pain or not (is_fresh and is_work_set and is_full_range) or is_assisted:
        return False
    return reps >= 1 and 0 <= rir <= max_rir and reps + rir <= max_reps_and_rir


def _multiple_of_load(reps: float, rir: float, formula: str) -> float:
    """e1RM divided by the load."""
    multiple = _formula(formula)
    if not reps >= 1 or not math.isfinite(reps):
        raise ValueError(f"reps must be 1 or more, got {reps}")
    if not rir >= 0 or not math.isfinite(rir):
        raise ValueError(f"rir must be 0 or more, got {rir}")
    to_failure = reps + rir
    if to_failure >= _pole(formula):
        raise ValueError(f"reps + rir must be below {_pole(formula):g} for {formula}, got {to_failure}")
    return 1.0 if to_failure == 1 else float(multiple(np.asarray(to_failure, dtype=np.float64)))


def _reps_at_share(share: float, formula: str) -> float:
    """Inverse of the formula, without the rule that a maximum is one repetition."""
    if formula == "epley":
        return 30 * (1 / share - 1)
    if formula == "brzycki":
        return BRZYCKI_POLE - 36 * share
    if formula == "lombardi":
        return (1 / share) ** 10
    if formula == "oconner":
        return 40 * (1 / share - 1)
    floor, spread, decay = (52.2, 41.9, 0.055) if formula == "mayhew" else (48.8, 53.8, 0.075)
    rest = (100 * share - floor) / spread
    return -math.log(rest) / decay if rest > 0 else math.nan


def _formula(formula: str) -> Callable[[Floats], Floats]:
    if formula not in _MULTIPLE_OF_LOAD:
        raise ValueError(f"formula must be one of {', '.join(FORMULAS)}, got {formula}")
    return _MULTIPLE_OF_LOAD[formula]


def _pole(formula: str) -> float:
    return BRZYCKI_POLE if formula == "brzycki" else math.inf


def _check_above_zero(name: str, load_kg: float) -> None:
    if not load_kg > 0 or not math.isfinite(load_kg):
        raise ValueError(f"{name} must be a finite number above 0, got {load_kg}")
