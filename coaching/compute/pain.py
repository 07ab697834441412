"""Pain of single days: bands, the client's limit, the morning after, this week against the last."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Texts = NDArray[np.str_]

LOW, ACCEPTABLE, HIGH = "low", "acceptable", "high"
LOW_UP_TO = 2
ACCEPTABLE_UP_TO = 5
DEFAULT_PAIN_LIMIT = 6
MORNING_TOLERANCE = 1.0
RECENT_MORNINGS_DAYS = 14
USUAL_MORNINGS_DAYS = 56


@dataclass(frozen=True, slots=True, eq=False)
class OverLimits:
    """Days at or above the limit in the recent days, one entry per series.

    Attributes:
        is_over_limit: at least one such day.
        day: column of the newest one, -1 where there is none.
        pain: pain of that day, nan where there is none.
        n_days: how many there are.
        limit: the limit that was held against.
        recent_days: how many columns were looked at.
    """

    is_over_limit: Bools
    day: Ints
    pain: Floats
    n_days: Ints
    limit: Floats
    recent_days: int


@dataclass(frozen=True, slots=True, eq=False)
class Settling:
    """Mornings after training against the usual morning, one entry per series.

    Attributes:
        is_unsettled: each of the newest known mornings lay above the usual one by more than the tolerance.
        usual_morning: median of the mornings before those, nan where too few are known.
        newest_morning: the newest known morning, nan where none is recent, and its column
        newest_day, -1 where there is none.
        n_above: recent mornings above, in a row and counted back from the newest.
        n_missing: recent training days without a morning after; unknown, neither settled nor not.
    """

    is_unsettled: Bools
    usual_morning: Floats
    newest_morning: Floats
    newest_day: Ints
    n_above: Ints
    n_missing: Ints


@dataclass(frozen=True, slots=True, eq=False)
class WeekMedians:
    """Median pain of the last seven days and of the seven before; nan where there is no report."""

    now: Floats
    before: Floats
    is_rising: Bools


def name_bands(pain: Floats) -> Texts:
    """Name the band of each pain: low 0-2, acceptable 3-5, high 6-10.

    Args:
        pain: any shape, 0-10; nan = no report.

    Returns:
        Texts of the same shape, empty where there is no report.

    Raises:
        ValueError: pain outside 0-10.

    Notes:
        Display only. Fractions belong to the band above the whole number below them: 5.5 is high.

    Source:
        Pain-monitoring model: Thomee 1997, Phys Ther 77(12):1690-1703; Silbernagel 2007, Am J Sports Med
        35(6):897-906 (zone limits from memory).

    >>> name_bands(np.array([0.0, 2.0, 5.0, 6.0, np.nan])).tolist()
    ['low', 'low', 'acceptable', 'high', '']
    """
    check_pain("pain", pain)
    return np.select(
        [np.isnan(pain), pain <= LOW_UP_TO, pain <= ACCEPTABLE_UP_TO], ["", LOW, ACCEPTABLE], default=HIGH
    )


def is_over_limit(pain: Floats, limits: Floats) -> Bools:
    """Say on which days pain is at or above the limit.

    Args:
        pain: (n_series, n_days) pain of each day; nan = no report.
        limits: (n_series,) the client's own limit; nan = none, then 6.

    Returns:
        (n_series, n_days); false where there is no report.

    Raises:
        ValueError: pain outside 0-10, or limits of another length.

    Notes:
        A client's limit can only be lower than 6: a higher one is read as 6.

    Source:
        High zone of the pain-monitoring model, Thomee 1997, from memory; per-client limit: design choice.

    >>> is_over_limit(np.array([[5.0, 6.0, np.nan], [5.0, 3.0, 4.0]]), np.array([np.nan, 4.0])).astype(int)
    array([[0, 1, 0],
           [1, 0, 1]])
    """
    check_pain("pain", pain)
    if limits.shape != pain.shape[:1]:
        raise ValueError(f"limits must have {pain.shape[0]} entries like pain, got {limits.shape}")
    return np.asarray(pain >= _limits(limits)[:, None])


def find_over_limit(pain: Floats, limits: Floats, recent_days: int = 7) -> OverLimits:
    """Find the newest day at or above the limit among the last days.

    Args:
        pain: (n_series, n_days) pain of each day, newest last; nan = no report.
        limits: (n_series,) the client's own limit; nan = none, then 6.
        recent_days: how many of the newest columns count.

    Returns:
        OverLimits.

    Raises:
        ValueError: pain outside 0-10, or limits of another length.

    Source:
        As is_over_limit; days: design choice.

    >>> find_over_limit(np.array([[1.0, 7.0, np.nan, 3.0]]), np.array([np.nan])).pain
    array([7.])
    """
    is_over = is_over_limit(pain, limits)
    is_over[:, : max(0, pain.shape[1] - recent_days)] = False
    day = _newest(is_over)
    return OverLimits(
        is_over_limit=day >= 0,
        day=day,
        pain=_pick(pain, day),
        n_days=is_over.sum(axis=1),
        limit=_limits(limits),
        recent_days=recent_days,
    )


def is_unsettled(next_morning: Floats, usual_morning: Floats, tolerance: float = MORNING_TOLERANCE) -> Bools:
    """Say where the morning after lies above the usual morning by more than the tolerance.

    Args:
        next_morning: pain of the morning after; nan = not reported, which is unknown and gives false.
        usual_morning: usual pain of a morning, of a shape that fits; nan = unknown, gives false.
        tolerance: points that may be measurement noise.

    Returns:
        Booleans of the broadcast shape.

    Raises:
        ValueError: either pain outside 0-10, or tolerance below 0.

    Source:
        Pain-monitoring model: settled by the next morning, Silbernagel 2007 (rule from memory); tolerance:
        design choice.

    >>> is_unsettled(np.array([2.0, 3.0, np.nan]), np.array([1.0, 1.0, 1.0]))
    array([False,  True, False])
    """
    check_pain("next_morning", next_morning)
    check_pain("usual_morning", usual_morning)
    if not tolerance >= 0:
        raise ValueError(f"tolerance must be 0 or more, got {tolerance}")
    return np.asarray(next_morning > usual_morning + tolerance)


def assess_settling(
    next_morning: Floats,
    joint_reps: Floats,
    *,
    recent_days: int = RECENT_MORNINGS_DAYS,
    usual_days: int = USUAL_MORNINGS_DAYS,
    min_usual: int = 5,
    mornings_in_a_row: int = 2,
    tolerance: float = MORNING_TOLERANCE,
) -> Settling:
    """Say for each series whether the last mornings after training had not settled.

    Args:
        next_morning: (n_series, n_days) pain of the morning after, on its training day; nan = not reported.
        joint_reps: (n_series, n_days) joint reps of each day; 0 = not trained.
        recent_days: newest columns in which a morning counts as recent.
        usual_days: columns before those from which the usual morning is taken.
        min_usual: mornings needed for a usual one; with fewer, nothing is said.
        mornings_in_a_row: how many of the newest mornings must lie above it; one bad night is not enough.
        tolerance: see is_unsettled.

    Returns:
        Settling.

    Raises:
        ValueError: shapes differ, or pain outside 0-10.

    Source:
        Rule as in is_unsettled; windows and the two mornings: design choice.

    >>> mornings = np.array([[1.0] * 20 + [3.0, 4.0]])
    >>> assess_settling(mornings, np.ones((1, 22)), recent_days=7).is_unsettled
    array([ True])
    """
    check_pain("next_morning", next_morning)
    if joint_reps.shape != next_morning.shape:
        raise ValueError(
            f"joint_reps must have the shape of next_morning {next_morning.shape}, got {joint_reps.shape}"
        )
    start = max(0, next_morning.shape[1] - recent_days)
    usual_part = next_morning[:, max(0, start - usual_days) : start]
    n_usual = (~np.isnan(usual_part)).sum(axis=1)
    usual = np.where(n_usual >= min_usual, _median_known(usual_part), np.nan)
    recent = next_morning[:, start:]
    is_known = ~np.isnan(recent)
    is_above = is_unsettled(recent, usual[:, None], tolerance)
    settled_later = np.cumsum((is_known & ~is_above)[:, ::-1], axis=1)[:, ::-1] > 0
    n_above = (is_above & ~settled_later).sum(axis=1)
    newest = _newest(is_known)
    return Settling(
        is_unsettled=n_above >= mornings_in_a_row,
        usual_morning=usual,
        newest_morning=_pick(recent, newest),
        newest_day=np.where(newest >= 0, newest + start, -1),
        n_above=n_above,
        n_missing=((joint_reps[:, start:] > 0) & ~is_known).sum(axis=1),
    )


def compare_weeks(pain: Floats, *, tolerance: float = 0.0) -> WeekMedians:
    """Compare the median pain of the last seven days with that of the seven before.

    Args:
        pain: (n_series, n_days) pain of each day, newest last; nan = no report.
        tolerance: points by which a median may lie higher without counting as a rise.

    Returns:
        WeekMedians; is_rising is false where either week has no report.

    Raises:
        ValueError: pain outside 0-10, or tolerance below 0.

    Source:
        Pain-monitoring model: no increase from week to week, Silbernagel 2007 (rule from memory). A
        tolerance, since a median of two or three reports wavers by itself: design choice.

    >>> compare_weeks(np.array([[2.0] * 7 + [3.0] * 7])).is_rising
    array([ True])
    """
    check_pain("pain", pain)
    if not tolerance >= 0:
        raise ValueError(f"tolerance must be 0 or more, got {tolerance}")
    now = _median_known(pain[:, -7:])
    before = _median_known(pain[:, -14:-7])
    return WeekMedians(now, before, np.asarray(now > before + tolerance))


def is_improved(pain_before: Floats, pain_now: Floats) -> Bools:
    """Say where pain fell by an amount that matters: 2 points, or 30 % from a pain of 4 or more.

    Args:
        pain_before, pain_now: same shape, 0-10; nan = not known, which gives false.

    Returns:
        Booleans of that shape.

    Raises:
        ValueError: either pain outside 0-10.

    Notes:
        The percent rule asks for a pain of 4 or more before, since 3 to 2 would pass it by one point.

    Source:
        Farrar 2001, Pain 94(2):149-158: about 2 points or 30 %. Floor of 4: design choice.

    >>> is_improved(np.array([6.0, 3.0]), np.array([4.0, 2.0]))
    array([ True, False])
    """
    check_pain("pain_before", pain_before)
    check_pain("pain_now", pain_now)
    fall = pain_before - pain_now
    return np.asarray((fall >= 2) | ((pain_before >= 4) & (fall >= 0.3 * pain_before)))


def _limits(limits: Floats) -> Floats:
    return np.fmin(limits, float(DEFAULT_PAIN_LIMIT))


def _newest(is_marked: Bools) -> Ints:
    """Column of the last marked entry of each row, -1 where there is none."""
    columns = np.where(is_marked, np.arange(is_marked.shape[1]), -1)
    newest: Ints = columns.max(axis=1, initial=-1)
    return newest


def _pick(values: Floats, column: Ints) -> Floats:
    if values.shape[1] == 0:
        return np.full(len(values), np.nan)
    return np.where(column >= 0, values[np.arange(len(values)), column], np.nan)


def _median_known(values: Floats) -> Floats:
    """Median of the known entries of each row, nan where there is none."""
    if values.shape[1] == 0:
        return np.full(len(values), np.nan)
    ordered = np.sort(values, axis=1)
    n_known = (~np.isnan(values)).sum(axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum(n_known - 1, 0) // 2]
    high = ordered[rows, np.minimum(n_known // 2, values.shape[1] - 1)]
    return np.where(n_known > 0, (low + high) / 2, np.nan)


def check_pain(name: str, pain: Floats) -> None:
    """Refuse pain outside 0-10.

    Args:
        name: argument that the message names.
        pain: any shape; nan passes.

    Raises:
        ValueError: a value lies outside 0-10.

    Source:
        Numeric rating scale of eleven points.

    >>> check_pain("pain", np.array([0.0, 10.0, np.nan]))
    """
    is_wrong = (pain < 0) | (pain > 10)
    if is_wrong.any():
        raise ValueError(f"{name} must lie in 0 to 10 or be missing, got {float(pain[is_wrong][0])}")
