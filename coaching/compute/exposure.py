"""What a joint and a muscle saw: joint reps and joint load per day, hard sets, volume, tempo and density."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Texts = NDArray[np.str_]

LEFT, RIGHT, BOTH, MIDLINE = "left", "right", "both", "midline"

DIRECT = 1.0
INDIRECT = 0.5

CONFIRM_ABOVE = 1.5
EXPLOSIVE_S = 1


@dataclass(frozen=True, slots=True, eq=False)
class SiteDays:
    """Totals of each joint site and local day.

    Attributes:
        joint_reps: (n_sites, n_days) sum of reps x stress.
        joint_load_kg: (n_sites, n_days) sum of reps x stress x load, in kilograms.
    """

    joint_reps: Floats
    joint_load_kg: Floats


@dataclass(frozen=True, slots=True)
class Tempo:
    """Seconds of the four parts of a repetition."""

    lowering_s: int
    pause_low_s: int
    lifting_s: int
    pause_high_s: int

    @property
    def rep_s(self) -> int:
        return self.lowering_s + self.pause_low_s + self.lifting_s + self.pause_high_s


def joint_reps(reps: ArrayLike, stress: ArrayLike) -> Floats:
    """Count the repetitions that a joint sees in each set, warm-ups included.

    Args:
        reps: repetitions of the set, 0 or more.
        stress: joint stress of the exercise for the joint, 0 to 1.

    Returns:
        reps x stress, broadcast.

    Raises:
        ValueError: a value is nan or out of range.

    Source:
        Product: definition. Levels of stress: coach judgement; no published table holds across loads,
        techniques and injuries.

    >>> joint_reps([5, 8], [1.0, 0.25])
    array([5., 2.])
    """
    return np.asarray(_within("reps", reps, 0, np.inf) * _within("stress", stress, 0, 1))


def joint_load_kg(reps: ArrayLike, load_kg: ArrayLike, stress: ArrayLike) -> Floats:
    """Give the load that a joint sees in each set, warm-ups included.

    Args:
        reps, stress: as for joint_reps.
        load_kg: 0 or more; nan = not known or still to be confirmed, which adds nothing.

    Returns:
        reps x stress x load in kilograms, broadcast.

    Raises:
        ValueError: a value is out of range, or reps or stress nan.

    Source:
        Definition; stress as for joint_reps.

    >>> joint_load_kg([5, 8], [100.0, float("nan")], 0.5)
    array([250.,   0.])
    """
    return joint_reps(reps, stress) * _or_zero("load_kg", load_kg)


def is_site_loaded(set_side: ArrayLike, site_side: ArrayLike) -> Bools:
    """Say which sets load which sides of a joint.

    Args:
        set_side: left, right or both.
        site_side: left, right or midline.

    Returns:
        Booleans, broadcast: a set of both counts once for either side, a midline site sees every set once.

    Raises:
        ValueError: another word.

    Source:
        Design choice.

    >>> is_site_loaded(["left", "both"], "left")
    array([ True,  True])
    """
    sets, sites = np.asarray(set_side, dtype=np.str_), np.asarray(site_side, dtype=np.str_)
    for name, words, known in (
        ("set_side", sets, (LEFT, RIGHT, BOTH)),
        ("site_side", sites, (LEFT, RIGHT, MIDLINE)),
    ):
        is_known = np.isin(words, known)
        if not is_known.all():
            raise ValueError(f"{name} must be one of {', '.join(known)}, got {words[~is_known].flat[0]}")
    return np.asarray((sites == MIDLINE) | (sets == BOTH) | (sets == sites))


def sum_site_days(
    set_day: ArrayLike,
    set_side: ArrayLike,
    reps: ArrayLike,
    load_kg: ArrayLike,
    stress: ArrayLike,
    site_side: ArrayLike,
    *,
    n_days: int,
) -> SiteDays:
    """Add up many sets to totals of each joint site and local day.

    Args:
        set_day: (n_sets,) day number, 0 to n_days - 1.
        set_side: (n_sets,) left, right or both.
        reps: (n_sets,) repetitions, warm-ups included.
        load_kg: (n_sets,) load; nan adds repetitions but no load.
        stress: (n_sets, n_sites) joint stress of the set's exercise for each site's joint.
        site_side: (n_sites,) left, right or midline.
        n_days: length of the totals.

    Returns:
        SiteDays.

    Raises:
        ValueError: shapes do not fit, or a value is out of range.

    Source:
        Sums of joint_reps and joint_load_kg.

    >>> totals = sum_site_days([0, 0, 1], ["left", "both", "right"], [10, 5, 8], [20.0, 60.0, 20.0],
    ...                        [[0.5], [1.0], [0.5]], ["left"], n_days=2)
    >>> totals.joint_reps, totals.joint_load_kg
    (array([[10.,  0.]]), array([[400.,   0.]]))
    """
    days = np.asarray(set_day, dtype=np.int64)
    weights = np.asarray(stress, dtype=np.float64)
    sides = np.asarray(site_side, dtype=np.str_)
    if weights.shape != (days.size, sides.size):
        raise ValueError(f"stress must have the shape {(days.size, sides.size)}, got {weights.shape}")
    if ((days < 0) | (days >= n_days)).any():
        raise ValueError(f"set_day must lie in 0 to {n_days - 1}, got {int(days.min())} to {int(days.max())}")
    rep_column, load_column = (
        np.asarray(each, dtype=np.float64).reshape(days.size, 1) for each in (reps, load_kg)
    )
    seen = is_site_loaded(np.asarray(set_side, dtype=np.str_)[:, None], sides[None, :])
    totals = np.zeros((2, n_days, sides.size))
    np.add.at(totals[0], days, joint_reps(rep_column, weights) * seen)
    np.add.at(totals[1], days, joint_load_kg(rep_column, load_column, weights) * seen)
    return SiteDays(joint_reps=totals[0].T, joint_load_kg=totals[1].T)


def emphasise_heavy_reps(reps: ArrayLike, share_of_1rm: ArrayLike, exponent: float = 0.0) -> Floats:
    """Weight repetitions by how heavy they are.

    Args:
        reps: repetitions of each set, 0 or more.
        share_of_1rm: load / e1RM of each set, 0 or more; nan gives nan unless the emphasis is off.
        exponent: 0 = off, every repetition counts 1; 1 and 4 are gentle.

    Returns:
        reps x share ** exponent, broadcast.

    Raises:
        ValueError: a value is out of range.

    Notes:
        An emphasis, not a measure of damage: load in the hand is not stress in the tissue, and tissue mends.

    Source:
        Form after Edwards 2018, Exerc Sport Sci Rev 46(4):224-231; off by default: design choice.

    >>> emphasise_heavy_reps([30, 15], [0.7, 0.9], exponent=1)
    array([21. , 13.5])
    """
    if not exponent >= 0:
        raise ValueError(f"exponent must be 0 or more, got {exponent}")
    share = np.asarray(share_of_1rm, dtype=np.float64)
    if (share < 0).any():
        raise ValueError(f"share_of_1rm must be 0 or more, got {float(share.min())}")
    return np.asarray(_within("reps", reps, 0, np.inf) * share**exponent)


def volume_load_kg(reps: ArrayLike, load_kg: ArrayLike) -> float:
    """Add up repetitions x load over sets.

    Args:
        reps: (n,) repetitions, per side for one-sided sets; nan (a hold) adds nothing.
        load_kg: (n,) load; nan (not known) adds nothing.

    Returns:
        Kilograms; 0 without sets.

    Raises:
        ValueError: a value below 0 or infinite.

    Notes:
        Not comparable between exercises, nor between one-sided and two-sided ones; favours long light sets.

    Source:
        Definition.

    >>> volume_load_kg([10, 10, 10], [60.0, 60.0, 60.0])
    1800.0
    """
    return float(np.sum(_or_zero("reps", reps) * _or_zero("load_kg", load_kg)))


def hard_sets_per_muscle(is_hard: ArrayLike, role: ArrayLike) -> Floats:
    """Count the hard sets of each muscle, fractionally.

    Args:
        is_hard: (n_sets,) see effort.are_hard_sets.
        role: (n_sets, n_muscles) 1 = direct, 0.5 = indirect, 0 = none.

    Returns:
        (n_muscles,) hard sets.

    Raises:
        ValueError: shapes do not fit, or a role is none of the three.

    Source:
        Weights: Pelland et al. 2024, SportRxiv, where this count had the strongest evidence.

    >>> hard_sets_per_muscle([True, True, False], [[1.0, 0.5], [1.0, 0.0], [1.0, 1.0]])
    array([2. , 0.5])
    """
    counted, weights = np.asarray(is_hard, dtype=np.bool_), np.asarray(role, dtype=np.float64)
    if weights.ndim != 2 or counted.shape != weights.shape[:1]:
        raise ValueError(f"role must have one row for each of {counted.size} sets, got {weights.shape}")
    is_known = np.isin(weights, (0.0, INDIRECT, DIRECT))
    if not is_known.all():
        raise ValueError(f"role must be 0, 0.5 or 1, got {float(weights[~is_known][0])}")
    return counted.astype(np.float64) @ weights


def parse_tempo(text: str) -> Tempo:
    """Read the tempo of a repetition.

    Args:
        text: four parts in the order lowering, pause, lifting, pause, as 3-1-1-0 or 3110; X (as fast as
            possible) counts 1 s. The first is the lowering even where the lift begins with the lifting.

    Returns:
        Tempo.

    Raises:
        ValueError: not four parts, a part that is neither a whole number of seconds nor X, or above 60.

    Source:
        Order: common practice, no source. X = 1 s: design choice.

    >>> parse_tempo("4-0-X-1").rep_s
    6
    """
    stripped = text.strip()
    parts = stripped.split("-") if "-" in stripped else list(stripped)
    if len(parts) != 4:
        raise ValueError(f"tempo must have four parts, like 3-1-1-0 or 3110, got {text!r}")
    return Tempo(*(_seconds(part, text) for part in parts))


def is_tempo(text: str) -> bool:
    """Say whether a text is a tempo.

    Args:
        text: any text.

    Returns:
        True where parse_tempo reads it.

    >>> is_tempo("3-1-X-0"), is_tempo("fast")
    (True, False)
    """
    try:
        parse_tempo(text)
    except ValueError:
        return False
    return True


def time_under_tension(reps: float, tempo: Tempo | str) -> float:
    """Give the seconds that a set keeps the muscle under load.

    Args:
        reps: repetitions, 0 or more.
        tempo: Tempo, or text for parse_tempo.

    Returns:
        Seconds.

    Raises:
        ValueError: reps out of range, or as parse_tempo.

    Source:
        Repetitions x seconds of one: common practice, no source.

    >>> time_under_tension(10, "3-1-1-0")
    50.0
    """
    each = parse_tempo(tempo) if isinstance(tempo, str) else tempo
    return float(_within("reps", reps, 0, np.inf)) * each.rep_s


def density(volume_load_kg: float, duration_min: float) -> float:
    """Give the pace of a session; a measure of pacing only.

    Args:
        volume_load_kg: 0 or more.
        duration_min: minutes, above 0.

    Returns:
        Kilograms a minute.

    Raises:
        ValueError: volume load below 0, or a duration that is not above 0.

    Source:
        Definition.

    >>> density(5400, 45)
    120.0
    """
    if not 0 < duration_min < np.inf:
        raise ValueError(f"duration_min must be a finite number above 0, got {duration_min}")
    return float(_within("volume_load_kg", volume_load_kg, 0, np.inf)) / duration_min


def is_load_to_confirm(load_kg: float, best_84_days_kg: float | None) -> bool:
    """Say whether a load looks like a slip of the finger: above 1.5 times the lift's best of 84 days.

    Args:
        load_kg: load of the set.
        best_84_days_kg: heaviest confirmed load of the lift; None, nan or 0 = none, so nothing is asked.

    Returns:
        True where the set is to be held back until somebody confirms it.

    Source:
        Design choice.

    >>> is_load_to_confirm(900, 90), is_load_to_confirm(900, None)
    (True, False)
    """
    return best_84_days_kg is not None and best_84_days_kg > 0 and load_kg > CONFIRM_ABOVE * best_84_days_kg


def _seconds(part: str, text: str) -> int:
    if part in ("X", "x"):
        return EXPLOSIVE_S
    if not (part.isascii() and part.isdigit() and len(part) <= 2 and int(part) <= 60):
        raise ValueError(f"tempo must be made of whole seconds up to 60 or X, got {part!r} in {text!r}")
    return int(part)


def _or_zero(name: str, numbers: ArrayLike) -> Floats:
    array = np.asarray(numbers, dtype=np.float64)
    return _within(name, np.where(np.isnan(array), 0.0, array), 0, np.inf)


def _within(name: str, numbers: ArrayLike, low: float, high: float) -> Floats:
    array = np.asarray(numbers, dtype=np.float64)
    is_fine = (array >= low) & (array <= high) & np.isfinite(array)
    if not is_fine.all():
        rule = f"{low:g} to {high:g}" if np.isfinite(high) else f"finite and {low:g} or more"
        raise ValueError(f"{name} must be {rule}, got {float(array[~is_fine].flat[0])}")
    return array
