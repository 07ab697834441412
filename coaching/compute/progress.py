"""Does a lift still move as its training status lets expect, does it stand still, or does it fall?"""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.normal import two_sided_z

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Texts = NDArray[np.str_]

METHOD = "least_squares_against_expected_rate"
VERSION = "1"

PROGRESSING = "progressing"
STALLED = "stalled"
REGRESSING = "regressing"
NOT_ASSESSABLE = "not_assessable"

FEW_EXPOSURES = "few_exposures"
SHORT_SPAN = "short_span"
NO_RECENT_EXPOSURES = "no_recent_exposures"
LOW_ATTENDANCE = "low_attendance"

STATUSES = ("novice", "intermediate", "advanced")


@dataclass(frozen=True, slots=True)
class ProgressSettings:
    """Constants of the stall rule; rates are of ln(e1RM), every default is a design choice.

    Attributes:
        window_days: newest days that are looked at.
        expected_per_week: rate that training status lets expect, for novice, intermediate, advanced.
        interval: two-sided confidence of the interval of the slope.
        min_exposures: comparable exposures needed in the window.
        min_span_days: days from first to last of them, per training status.
        recent_days: the last days, in which no new best may lie, per training status.
        min_recent_exposures: exposures needed in them, per training status.
        min_attendance: share of the scheduled sessions that must have been attended.
        assumed_noise: noise of one e1RM as a fraction before the lift has shown its own, and
        assumed_noise_exposures: how many exposures that assumption is worth.
        mdc_confidence: two-sided confidence of the minimal detectable change for a fall.
        mdc_exposures: exposures averaged at either end for a fall.
    """

    window_days: int = 84
    expected_per_week: tuple[float, float, float] = (0.01, 0.0035, 0.0006)
    interval: float = 0.98
    min_exposures: int = 8
    min_span_days: tuple[int, int, int] = (14, 28, 28)
    recent_days: tuple[int, int, int] = (14, 28, 28)
    min_recent_exposures: tuple[int, int, int] = (2, 3, 3)
    min_attendance: float = 0.8
    assumed_noise: float = 0.042
    assumed_noise_exposures: float = 4.0
    mdc_confidence: float = 0.95
    mdc_exposures: int = 5


DEFAULT_SETTINGS = ProgressSettings()


@dataclass(frozen=True, slots=True, eq=False)
class LiftAssessments:
    """What a night knows about each lift; every array has one entry per series.

    Attributes:
        state: progressing, stalled, regressing or not_assessable.
        reason: why not assessable, else empty: few_exposures, short_span, no_recent_exposures,
            low_attendance.
        slope_per_week: change of ln(e1RM) a week, with its interval
        slope_low_per_week, slope_high_per_week of confidence interval.
        expected_per_week: what the slope is held against.
        noise: noise of one measurement as a fraction.
        best_recent_kg, best_before_kg: best of the recent days and of the window before them.
        fall: fall of the average of the last exposures below that of the first ones, as a fraction, and
        fall_mdc: the smallest fall that counts.
        n_exposures: comparable exposures in the window.
        n_left_out: exposures in the window that are not comparable.
        first_day, last_day: days of the first and last of the comparable ones, nan where there is none.
        exposures_to_go, days_to_go: how much is missing until the lift can be assessed, 0 where nothing.
        method, version: name and version of the rule.
    """

    state: Texts
    reason: Texts
    slope_per_week: Floats
    slope_low_per_week: Floats
    slope_high_per_week: Floats
    interval: float
    expected_per_week: Floats
    noise: Floats
    best_recent_kg: Floats
    best_before_kg: Floats
    fall: Floats
    fall_mdc: Floats
    n_exposures: Ints
    n_left_out: Ints
    first_day: Floats
    last_day: Floats
    exposures_to_go: Ints
    days_to_go: Ints
    method: str
    version: str


def assess_lifts(
    times_days: Floats,
    e1rm_kg: Floats,
    is_comparable: Bools,
    status: Texts,
    *,
    as_of_day: float,
    increment_kg: Floats,
    attendance: Floats | None = None,
    settings: ProgressSettings = DEFAULT_SETTINGS,
) -> LiftAssessments:
    """Hold the slope of each lift against the rate that its training status lets expect.

    Args:
        times_days: (n_series, n_exposures) day number of each exposure; nan pads short rows.
        e1rm_kg: (n_series, n_exposures) best valid e1RM of the day; nan = none. Where reps at the same load
            are the lever, give reps and an increment of one rep instead.
        is_comparable: (n_series, n_exposures) attended, pain-free, fresh, usual effort, no deload.
        status: (n_series,) training status: novice, intermediate or advanced.
        as_of_day: newest day that may be seen; later exposures are ignored.
        increment_kg: (n_series,) smallest step of the equipment.
        attendance: (n_series,) share of scheduled sessions attended over the window; nan or None = not known.
        settings: constants of the rule.

    Returns:
        LiftAssessments.

    Raises:
        ValueError: shapes differ, unknown status, e1RM not above 0, or increment below 0.

    Notes:
        Stalled: the upper end of the interval of the slope lies below the expected rate and the recent days
        hold no best by more than one increment. Regressing: the average of the last exposures lies below that
        of the first ones by more than the minimal detectable change of two averages, and the slope lies below
        0 with its whole interval. What is not stalled or
        regressing but assessable is called progressing: nothing speaks against the expected rate.

    Source:
        Minimal detectable change z x sqrt(2) x CV / sqrt(n), CV 4.2 %: Grgic 2020, Sports Med Open 6:31. The
        rest is design choice, tuned on generated lifts.

    >>> days = np.arange(0.0, 84, 3.5)[None, :]
    >>> found = assess_lifts(days, np.full_like(days, 100.0), np.ones(days.shape, bool), np.array(["novice"]),
    ...                      as_of_day=84, increment_kg=np.array([2.5]))
    >>> str(found.state[0])
    'stalled'
    """
    _check(times_days, e1rm_kg, is_comparable, status, increment_kg, attendance)
    status_index = np.select([status == name for name in STATUSES], [0, 1, 2])
    expected = np.asarray(settings.expected_per_week)[status_index]
    recent_days = np.asarray(settings.recent_days)[status_index]
    in_window = (
        (times_days <= as_of_day) & (times_days > as_of_day - settings.window_days) & ~np.isnan(e1rm_kg)
    )
    is_used = in_window & is_comparable
    is_recent = is_used & (times_days > as_of_day - recent_days[:, None])

    n_used = is_used.sum(axis=1)
    first_day = -_best(-times_days, is_used)
    last_day = _best(times_days, is_used)
    reason, exposures_to_go, days_to_go = _reasons(
        n_used, is_recent.sum(axis=1), last_day - first_day, status_index, attendance, settings
    )
    slope, slope_se, noise = _weekly_slopes(times_days, e1rm_kg, is_used, settings)
    half_width = two_sided_z(settings.interval) * slope_se
    best_recent = _best(e1rm_kg, is_recent)
    best_before = _best(e1rm_kg, is_used & ~is_recent)
    fall = _fall(times_days, e1rm_kg, is_used, settings.mdc_exposures)
    fall_mdc = minimal_detectable_change(noise, settings.mdc_exposures, settings.mdc_confidence)

    is_regressing = (fall > fall_mdc) & (slope + half_width < 0)
    is_stalled = (slope + half_width < expected) & ~(best_recent > best_before + increment_kg)
    state = np.select(
        [reason != "", is_regressing, is_stalled],
        [NOT_ASSESSABLE, REGRESSING, STALLED],
        default=PROGRESSING,
    )
    return LiftAssessments(
        state=state,
        reason=reason,
        slope_per_week=slope,
        slope_low_per_week=slope - half_width,
        slope_high_per_week=slope + half_width,
        interval=settings.interval,
        expected_per_week=expected,
        noise=noise,
        best_recent_kg=best_recent,
        best_before_kg=best_before,
        fall=fall,
        fall_mdc=fall_mdc,
        n_exposures=n_used,
        n_left_out=(in_window & ~is_comparable).sum(axis=1),
        first_day=first_day,
        last_day=last_day,
        exposures_to_go=exposures_to_go,
        days_to_go=days_to_go,
        method=METHOD,
        version=VERSION,
    )


def minimal_detectable_change(noise: Floats, n_averaged: int = 1, confidence: float = 0.95) -> Floats:
    """Give the smallest difference of two averages that is more than their noise.

    Args:
        noise: within-person noise of one measurement, as a fraction or in the unit measured; nan gives nan.
        n_averaged: measurements in each average.
        confidence: two-sided.

    Returns:
        Shape of noise, in its unit.

    Raises:
        ValueError: noise below 0, n_averaged below 1, or confidence outside 0 to 1.

    Source:
        z x sqrt(2) x CV / sqrt(n); median CV 4.2 %: Grgic 2020, Sports Med Open 6:31.

    >>> minimal_detectable_change(np.array([0.042])).round(4)
    array([0.1164])
    """
    if (noise < 0).any():
        raise ValueError(f"noise must be 0 or more, or nan, got {float(noise[noise < 0][0])}")
    if n_averaged < 1:
        raise ValueError(f"n_averaged must be 1 or more, got {n_averaged}")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")
    z = two_sided_z(confidence)
    return np.asarray(z * np.sqrt(2 / n_averaged) * noise)


def _weekly_slopes(
    times_days: Floats, e1rm_kg: Floats, is_used: Bools, settings: ProgressSettings
) -> tuple[Floats, Floats, Floats]:
    """Least squares slope of ln(e1RM) a week, its standard error and the noise of one measurement."""
    n_used = is_used.sum(axis=1)
    weeks = np.where(is_used, times_days, 0.0) / 7
    logs = np.log(np.where(is_used, e1rm_kg, 1.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        weeks_left = np.where(is_used, weeks - (weeks.sum(axis=1) / n_used)[:, None], 0.0)
        logs_left = np.where(is_used, logs - (logs.sum(axis=1) / n_used)[:, None], 0.0)
        spread = (weeks_left**2).sum(axis=1)
        slope = np.where(spread > 0, (weeks_left * logs_left).sum(axis=1) / spread, np.nan)
        residual = ((logs_left - slope[:, None] * weeks_left) ** 2).sum(axis=1)
        weight = settings.assumed_noise_exposures
        noise = np.sqrt(
            (residual + weight * settings.assumed_noise**2) / (np.maximum(n_used - 2, 0) + weight)
        )
        return slope, noise / np.sqrt(spread), noise


def _best(values: Floats, is_counted: Bools) -> Floats:
    """Highest counted value of each row, nan where there is none."""
    best = np.max(np.where(is_counted, values, -np.inf), axis=1, initial=-np.inf)
    return np.where(is_counted.any(axis=1), best, np.nan)


def _fall(times_days: Floats, e1rm_kg: Floats, is_used: Bools, n_averaged: int) -> Floats:
    """Fall of the average of the last exposures below that of the first ones; nan where they overlap."""
    order = np.argsort(np.where(is_used, times_days, np.inf), axis=1, kind="stable")
    values = np.take_along_axis(np.where(is_used, e1rm_kg, 0.0), order, axis=1)
    n_used = is_used.sum(axis=1)[:, None]
    place = np.arange(values.shape[1])[None, :]
    first = (values * (place < n_averaged)).sum(axis=1)
    last = (values * ((place >= n_used - n_averaged) & (place < n_used))).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(n_used[:, 0] >= 2 * n_averaged, 1 - last / first, np.nan)


def _reasons(
    n_used: Ints,
    n_recent: Ints,
    span_days: Floats,
    status_index: Ints,
    attendance: Floats | None,
    settings: ProgressSettings,
) -> tuple[Texts, Ints, Ints]:
    """Why a lift is not assessable, and the exposures and days that are missing."""
    min_span = np.asarray(settings.min_span_days)[status_index]
    min_recent = np.asarray(settings.min_recent_exposures)[status_index]
    exposures_to_go = np.maximum(settings.min_exposures - n_used, np.maximum(min_recent - n_recent, 0))
    days_to_go = np.ceil(np.maximum(min_span - np.nan_to_num(span_days), 0)).astype(np.int64)
    is_badly_attended = np.zeros(n_used.shape, dtype=np.bool_)
    if attendance is not None:
        is_badly_attended = attendance < settings.min_attendance
    reason = np.select(
        [n_used < settings.min_exposures, days_to_go > 0, n_recent < min_recent, is_badly_attended],
        [FEW_EXPOSURES, SHORT_SPAN, NO_RECENT_EXPOSURES, LOW_ATTENDANCE],
        default="",
    )
    return reason, np.maximum(exposures_to_go, 0), days_to_go


def _check(
    times_days: Floats,
    e1rm_kg: Floats,
    is_comparable: Bools,
    status: Texts,
    increment_kg: Floats,
    attendance: Floats | None,
) -> None:
    if times_days.ndim != 2:
        raise ValueError(f"times_days must have two dimensions, got {times_days.ndim}")
    for name, array in (("e1rm_kg", e1rm_kg), ("is_comparable", is_comparable)):
        if array.shape != times_days.shape:
            raise ValueError(
                f"{name} must have the shape of times_days {times_days.shape}, got {array.shape}"
            )
    for name, per_series in (("status", status), ("increment_kg", increment_kg), ("attendance", attendance)):
        if per_series is not None and per_series.shape != times_days.shape[:1]:
            raise ValueError(f"{name} must have {len(times_days)} entries, got {per_series.shape}")
    if (e1rm_kg <= 0).any():
        raise ValueError(f"e1rm_kg must be above 0 or nan, got {float(e1rm_kg[e1rm_kg <= 0][0])}")
    is_known = np.isin(status, STATUSES)
    if not is_known.all():
        raise ValueError(f"status must be one of {', '.join(STATUSES)}, got {status[~is_known][0]}")
    if (increment_kg < 0).any():
        raise ValueError(f"increment_kg must be 0 or more, got {float(increment_kg[increment_kg < 0][0])}")
