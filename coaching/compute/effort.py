"""How close to failure a set was: effort scale, the client's own bias, hard sets, and efforts reached."""

import math
from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

RIR_BIAS_VERSION = "1"
LOW_LOAD_FROM = 0.3
LOW_LOAD_TO = 0.5
LOW_LOAD_MAX_RIR = 2.0
Z_95 = 1.96


@dataclass(frozen=True, slots=True)
class RirBias:
    """How far a client's guesses of the reserve were off; shown to the coach, never applied to a number.

    Attributes:
        mean_bias: mean of actual - guessed, in repetitions; above 0 = had more left than said.
        low, high: where 95 % of single guesses lie around it; nan below two guesses.
        n: pairs used.
    """

    mean_bias: float
    low: float
    high: float
    n: int


def rir_from_rpe(rpe: float) -> float:
    """Read repetitions in reserve from the effort of a set on the 1-10 scale.

    Args:
        rpe: 1 to 10 in half steps; not the effort of the whole session, which is another question.

    Returns:
        10 - rpe from 7 upwards; nan below, where the scale gives no single number, and for nan.

    Raises:
        ValueError: outside 1 to 10, or not a half step.

    Source:
        Zourdos et al. 2016, JSCR 30(1):267-275; half steps from memory.

    >>> rir_from_rpe(8.5), rir_from_rpe(6)
    (1.5, nan)
    """
    if math.isnan(rpe):
        return math.nan
    if not 1 <= rpe <= 10 or (2 * rpe) % 1 != 0:
        raise ValueError(f"rpe must be 1 to 10 in half steps, got {rpe}")
    return float(10 - rpe) if rpe >= 7 else math.nan


def rir_bias(guessed_rir: ArrayLike, actual_rir: ArrayLike) -> RirBias:
    """Measure how far a client misjudges the reserve, from sets whose true reserve came to light.

    Args:
        guessed_rir: (n,) repetitions in reserve as guessed during the set.
        actual_rir: (n,) repetitions still done from there to failure; nan in either drops the pair.

    Returns:
        RirBias; mean_bias is nan without a pair.

    Raises:
        ValueError: shapes differ or are not 1-D, or a value is below 0 or infinite.

    Notes:
        Limits are mean +- 1.96 sample standard deviations; they take the errors to be normal and alike at any
        reserve, though errors grow with distance from failure.

    Source:
        Limits of agreement: Bland and Altman 1986, Lancet 327:307-310 (from memory).

    >>> rir_bias([2, 2, 3, 1], [3, 2, 5, 2]).mean_bias
    1.0
    """
    guessed = np.asarray(guessed_rir, dtype=np.float64)
    actual = np.asarray(actual_rir, dtype=np.float64)
    if guessed.ndim != 1 or guessed.shape != actual.shape:
        raise ValueError(
            f"guessed_rir and actual_rir must have one dimension and one length, "
            f"got {guessed.shape} and {actual.shape}"
        )
    for name, rir in (("guessed_rir", guessed), ("actual_rir", actual)):
        if ((rir < 0) | np.isinf(rir)).any():
            raise ValueError(f"{name} must be finite numbers of 0 or more, or nan, got {rir}")
    errors = actual - guessed
    errors = errors[~np.isnan(errors)]
    mean = float(errors.mean()) if errors.size else math.nan
    half_width = Z_95 * float(errors.std(ddof=1)) if errors.size > 1 else math.nan
    return RirBias(mean_bias=mean, low=mean - half_width, high=mean + half_width, n=errors.size)


def is_hard_set(
    rir: float | None,
    *,
    to_failure: bool = False,
    share_of_1rm: float | None = None,
    is_work_set: bool = True,
    max_rir: float = 4,
) -> bool:
    """Say whether a set was close enough to failure to count as a hard set.

    Args:
        rir: repetitions in reserve; None or nan = not known.
        to_failure: the set ended in failure, whatever rir says.
        share_of_1rm: load / e1RM, 0 or more; None or nan = not known.
        is_work_set: False for warm-ups, which never count.
        max_rir: largest reserve that counts.

    Returns:
        True for a work set to failure at any load, and else where the reserve is known and small enough:
        max_rir in general, 2 from 30 to 50 % of the 1RM, none below. An unknown load is judged by max_rir.

    Raises:
        ValueError: rir or share_of_1rm below 0, or max_rir below 0.

    Source:
        Low loads: Lasevicius et al. 2022, JSCR 36(2):346-351; floor of 30 %: Lasevicius et al. 2018, Eur J
        Sport Sci 18(6):772-780 (from memory). Reserve of 4, and an unknown load: coach judgement.

    >>> is_hard_set(3), is_hard_set(3, share_of_1rm=0.4), is_hard_set(None, to_failure=True)
    (True, False, True)
    """
    return bool(
        are_hard_sets(
            math.nan if rir is None else rir,
            to_failure=to_failure,
            share_of_1rm=math.nan if share_of_1rm is None else share_of_1rm,
            is_work_set=is_work_set,
            max_rir=max_rir,
        )
    )


def are_hard_sets(
    rir: ArrayLike,
    *,
    to_failure: ArrayLike = False,
    share_of_1rm: ArrayLike = math.nan,
    is_work_set: ArrayLike = True,
    max_rir: float = 4,
) -> Bools:
    """Say for many sets at once which count as hard sets.

    Args:
        rir, share_of_1rm: arrays; nan = not known.
        to_failure, is_work_set: arrays of booleans; all broadcast.
        max_rir: as for is_hard_set.

    Returns:
        Booleans, shape of the broadcast.

    Raises:
        ValueError: as is_hard_set.

    Source:
        As is_hard_set.

    >>> are_hard_sets([1.0, 3.0, 5.0], share_of_1rm=[0.4, 0.4, 0.8])
    array([ True, False, False])
    """
    left = np.asarray(rir, dtype=np.float64)
    share = np.asarray(share_of_1rm, dtype=np.float64)
    for name, numbers in (("rir", left), ("share_of_1rm", share), ("max_rir", np.asarray(max_rir))):
        if (numbers < 0).any():
            raise ValueError(f"{name} must be 0 or more, got {numbers}")
    highest = np.where(share <= LOW_LOAD_TO, min(LOW_LOAD_MAX_RIR, max_rir), max_rir)
    is_close = (left <= highest) & ~(share < LOW_LOAD_FROM)
    return np.asarray(is_work_set, dtype=np.bool_) & (np.asarray(to_failure, dtype=np.bool_) | is_close)


def judge_effort(
    session: Ints, rir: Floats, rir_target: Floats, is_ended_by_pain: Bools, *, n_sessions: int
) -> Floats:
    """Say of each session whether its sets came as close to failure as they were meant to.

    Args:
        session: (n_sets,) index of the session that each work set belongs to.
        rir: (n_sets,) repetitions in reserve, 0 for a set to failure; nan = not known.
        rir_target: (n_sets,) most repetitions in reserve that were asked for, 0 for failure; nan = nothing
            asked, which leaves the set out.
        is_ended_by_pain: (n_sets,) sets that pain ended; whatever their reserve, they are no lack of effort.
        n_sessions: number of sessions; indices run from 0 to n_sessions - 1.

    Returns:
        (n_sessions,) 0 where a set missed its target, 1 where every set reached it, nan where that is not
        known or nothing was asked.

    Raises:
        ValueError: lengths differ.

    Notes:
        One set that clearly fell short decides; short of that, one that is not known leaves the session open.

    Source:
        Design choice.

    >>> judge_effort(np.array([0, 0, 1, 1]), np.array([2.0, 1.0, 4.0, np.nan]), np.full(4, 2.0),
    ...              np.zeros(4, dtype=bool), n_sessions=2)
    array([1., 0.])
    """
    if not session.shape == rir.shape == rir_target.shape == is_ended_by_pain.shape:
        raise ValueError(
            f"session must have the shape of rir, rir_target and is_ended_by_pain, got {session.shape} "
            f"with {rir.shape}, {rir_target.shape} and {is_ended_by_pain.shape}"
        )
    is_asked = ~np.isnan(rir_target)
    is_known = is_asked & ~np.isnan(rir) & ~is_ended_by_pain
    n_asked, n_known, n_missed = (
        np.bincount(session[is_chosen], minlength=n_sessions)
        for is_chosen in (is_asked, is_known, is_known & (rir > rir_target))
    )
    is_reached = (n_asked > 0) & (n_known == n_asked)
    return np.select([n_missed > 0, is_reached], [0.0, 1.0], np.nan)
