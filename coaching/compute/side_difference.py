"""Left against right: how far a lift's e1RM and a joint's pain lie apart, and if that is more than noise."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.normal import two_sided_z
from coaching.compute.pain import check_pain

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

METHOD = "difference_of_levels"
VERSION = "1"
LEAST_OWN = 3  # a line needs two values; the third is the first to scatter around it


@dataclass(frozen=True, slots=True)
class SideSettings:
    """Constants of the comparison.

    Attributes:
        window_days: newest days that are looked at.
        confidence: two-sided confidence of the interval.
        assumed_noise: noise of one e1RM as a fraction before a side has shown its own.
        assumed_pain_noise: noise of one pain report in points, likewise.
        day_correlation: correlation of pain on consecutive days, 0 or more and below 1.
        assumed_worth: how many values the assumption is worth once a side has min_own of its own; with fewer
        min_own, the assumption is the least that is believed.
    """

    window_days: int = 84
    confidence: float = 0.95
    assumed_noise: float = 0.042
    assumed_pain_noise: float = 1.02
    day_correlation: float = 0.7
    assumed_worth: float = 4.0
    min_own: int = 6


DEFAULT_SETTINGS = SideSettings()


@dataclass(frozen=True, slots=True, eq=False)
class SideDifferences:
    """Left against right, one entry per lift or joint; nan where a side has no value in the window.

    Attributes:
        difference: right less left. Of a lift in percent of the larger side, of pain in points.
        low, high: limits of its interval.
        noise_half_width: how far apart two equal sides would be seen by noise alone, in percent or points.
        is_within_noise: the interval holds 0; false where nothing is known.
        left, right: level of either side, in kilograms or points.
        noise_left, noise_right: noise of one value, as a fraction or in points.
        n_left, n_right: values in the window.
    """

    difference: Floats
    low: Floats
    high: Floats
    noise_half_width: Floats
    is_within_noise: Bools
    left: Floats
    right: Floats
    noise_left: Floats
    noise_right: Floats
    n_left: Ints
    n_right: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _LiftSide:
    """The values of one side in ln(e1RM), summed up."""

    n: Ints
    mean: Floats
    mean_day: Floats
    spread: Floats
    product: Floats
    noise: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _PainSide:
    n: Ints
    mean: Floats
    noise: Floats
    variance_of_mean: Floats


def lift_side_differences(
    left_days: Floats,
    left_e1rm_kg: Floats,
    right_days: Floats,
    right_e1rm_kg: Floats,
    *,
    as_of_day: float,
    settings: SideSettings = DEFAULT_SETTINGS,
) -> SideDifferences:
    """Compare the e1RM of the left and the right side of each lift.

    Args:
        left_days, right_days: (n_lifts, n_exposures) day number of each exposure; nan pads short rows; the
            two may differ in length.
        left_e1rm_kg, right_e1rm_kg: best valid e1RM of the day, same shapes; nan = none.
        as_of_day: newest day that may be seen.
        settings: constants.

    Returns:
        SideDifferences: (right - left) / larger x 100, from the geometric mean of each side.

    Raises:
        ValueError: shapes differ, e1RM not above 0, or a constant is out of range.

    Notes:
        Levels are compared in ln(e1RM), at one time: where the sides were trained on other days, the slope
        that both share is taken out, at the price of a wider interval. A side's noise is its scatter around
        its own line; the interval is normal, from both noises and numbers, and too narrow for a lift with few
        exposures that is noisier than assumed. A difference is a fact about two sides and no fault: sides are
        not made equal, and nothing is advised.

    Source:
        Standard error of a difference of two means; with the assumed noise its half width is the minimal
        detectable change z x sqrt(2) x CV / sqrt(n), median CV 4.2 %: Grgic 2020, Sports Med Open 6:31. How
        the assumption gives way to a side's own scatter: design choice.

    >>> days = np.array([[1.0, 8, 15]])
    >>> found = lift_side_differences(days, np.full((1, 3), 80.0), days, np.full((1, 3), 100.0), as_of_day=15)
    >>> found.difference.round(1), found.noise_half_width.round(2), found.is_within_noise
    (array([20.]), array([6.72]), array([False]))
    """
    _check_settings(settings)
    _check_lift_side("left", left_days, left_e1rm_kg)
    _check_lift_side("right", right_days, right_e1rm_kg)
    if len(left_days) != len(right_days):
        raise ValueError(f"right_days must have {len(left_days)} rows like left_days, got {len(right_days)}")
    left = _lift_side(left_days, left_e1rm_kg, as_of_day, settings)
    right = _lift_side(right_days, right_e1rm_kg, as_of_day, settings)
    apart, half_width = _difference(left, right, settings)
    return SideDifferences(
        difference=_percent_of_larger(apart),
        low=_percent_of_larger(apart - half_width),
        high=_percent_of_larger(apart + half_width),
        noise_half_width=100 * half_width,
        is_within_noise=np.abs(apart) <= half_width,
        left=np.exp(left.mean),
        right=np.exp(right.mean),
        noise_left=left.noise,
        noise_right=right.noise,
        n_left=left.n,
        n_right=right.n,
    )


def pain_side_differences(
    left_pain: Floats, right_pain: Floats, *, settings: SideSettings = DEFAULT_SETTINGS
) -> SideDifferences:
    """Compare the pain of the left and the right side of each joint.

    Args:
        left_pain, right_pain: (n_joints, n_days) pain of each day, 0-10, newest last; nan = not reported.
        settings: constants.

    Returns:
        SideDifferences: right less left in points, from the means of the days reported.

    Raises:
        ValueError: shapes differ, pain outside 0-10, or a constant is out of range.

    Notes:
        As lift_side_differences, in points, without a slope. Pain of one day is like that of the day before,
        so a mean of days counts for fewer than they are. Whole numbers with a floor at 0 are not normal: the
        interval is only a guide.

    Source:
        Noise of one report 1.02 points: Childs et al. 2005, Spine 30(11):1331-1334. Correlation falling as
        r ** gap: as in broken_line.fit_broken_lines. The rest: design choice.

    >>> found = pain_side_differences(np.full((1, 7), 1.0), np.full((1, 7), 4.0))
    >>> found.difference, found.is_within_noise
    (array([3.]), array([False]))
    """
    _check_settings(settings)
    if left_pain.ndim != 2:
        raise ValueError(f"left_pain must have two dimensions, got {left_pain.ndim}")
    if right_pain.shape != left_pain.shape:
        raise ValueError(
            f"right_pain must have the shape of left_pain {left_pain.shape}, got {right_pain.shape}"
        )
    check_pain("left_pain", left_pain)
    check_pain("right_pain", right_pain)
    left, right = (_pain_side(pain, settings) for pain in (left_pain, right_pain))
    apart = right.mean - left.mean
    half_width = _z(settings) * np.sqrt(left.variance_of_mean + right.variance_of_mean)
    return SideDifferences(
        difference=apart,
        low=apart - half_width,
        high=apart + half_width,
        noise_half_width=half_width,
        is_within_noise=np.abs(apart) <= half_width,
        left=left.mean,
        right=right.mean,
        noise_left=left.noise,
        noise_right=right.noise,
        n_left=left.n,
        n_right=right.n,
    )


def _difference(left: _LiftSide, right: _LiftSide, settings: SideSettings) -> tuple[Floats, Floats]:
    """Right less left in ln(e1RM) at one time, and the half width of its interval."""
    spread = left.spread + right.spread
    days_apart = right.mean_day - left.mean_day
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = np.where(spread > 0, (left.product + right.product) / spread, 0.0)
        weighted = left.noise**2 * left.spread + right.noise**2 * right.spread
        slope_variance = np.where(spread > 0, weighted / spread**2, 0.0)
        variance = left.noise**2 / left.n + right.noise**2 / right.n + days_apart**2 * slope_variance
    return right.mean - left.mean - days_apart * slope, _z(settings) * np.sqrt(variance)


def _lift_side(days: Floats, e1rm_kg: Floats, as_of_day: float, settings: SideSettings) -> _LiftSide:
    is_used = (days <= as_of_day) & (days > as_of_day - settings.window_days) & ~np.isnan(e1rm_kg)
    n = is_used.sum(axis=1)
    logs, log_mean = _centred(np.log(e1rm_kg), is_used)
    days_left, mean_day = _centred(days, is_used)
    spread, product = (days_left**2).sum(axis=1), (days_left * logs).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = np.where(spread > 0, product / spread, 0.0)
    residual = ((logs - slope[:, None] * days_left) ** 2).sum(axis=1)
    noise = _noise(residual, n, 2, settings.assumed_noise, settings)
    return _LiftSide(n=n, mean=log_mean, mean_day=mean_day, spread=spread, product=product, noise=noise)


def _pain_side(pain: Floats, settings: SideSettings) -> _PainSide:
    recent = pain[:, max(0, pain.shape[1] - settings.window_days) :]
    is_known = ~np.isnan(recent)
    n = is_known.sum(axis=1)
    points, mean = _centred(recent, is_known)
    noise = _noise((points**2).sum(axis=1), n, 1, settings.assumed_pain_noise, settings)
    day = np.arange(recent.shape[1])
    likeness = settings.day_correlation ** np.abs(day[:, None] - day[None, :])
    known = is_known.astype(np.float64)
    pairs = ((known @ likeness) * known).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        variance = noise**2 * pairs / n**2
    return _PainSide(n=n, mean=mean, noise=noise, variance_of_mean=variance)


def _centred(values: Floats, is_used: Bools) -> tuple[Floats, Floats]:
    """Used values less their mean, 0 elsewhere; and the mean, nan where none is used."""
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(is_used, values, 0.0).sum(axis=1) / is_used.sum(axis=1)
    return np.where(is_used, values - mean[:, None], 0.0), mean


def _noise(residual: Floats, n: Ints, n_fitted: int, assumed: float, settings: SideSettings) -> Floats:
    """Noise of one value: its own, but at least the assumed one, which counts for less as values are more."""
    free = np.maximum(n - n_fitted, 1)  # where nothing is free the residual is 0, and the assumption holds
    own = np.sqrt(residual / free)
    blended = np.sqrt((residual + settings.assumed_worth * assumed**2) / (free + settings.assumed_worth))
    least = np.where(n < settings.min_own, assumed, blended)
    return np.where(n > 0, np.maximum(own, least), np.nan)


def _z(settings: SideSettings) -> float:
    return two_sided_z(settings.confidence)


def _percent_of_larger(apart: Floats) -> Floats:
    """ln(right / left) as (right - left) / larger, in percent; swapping the sides flips the sign."""
    return np.asarray(-100 * np.sign(apart) * np.expm1(-np.abs(apart)))


def _check_lift_side(side: str, days: Floats, e1rm_kg: Floats) -> None:
    name = f"{side}_e1rm_kg"
    if e1rm_kg.ndim != 2:
        raise ValueError(f"{name} must have two dimensions, got {e1rm_kg.ndim}")
    if e1rm_kg.shape != days.shape:
        raise ValueError(f"{name} must have the shape of {side}_days {days.shape}, got {e1rm_kg.shape}")
    is_wrong = (e1rm_kg <= 0) | np.isinf(e1rm_kg)
    if is_wrong.any():
        raise ValueError(f"{name} must be finite and above 0, or nan, got {float(e1rm_kg[is_wrong][0])}")


def _check_settings(settings: SideSettings) -> None:
    if settings.window_days < 1:
        raise ValueError(f"window_days must be 1 or more, got {settings.window_days}")
    if not 0 < settings.confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, got {settings.confidence}")
    if not 0 <= settings.day_correlation < 1:
        raise ValueError(f"day_correlation must be at least 0 and below 1, got {settings.day_correlation}")
    for name in ("assumed_noise", "assumed_pain_noise", "assumed_worth"):
        if not 0 <= getattr(settings, name) < np.inf:
            raise ValueError(f"{name} must be finite and 0 or more, got {getattr(settings, name)}")
    if settings.min_own < LEAST_OWN:
        raise ValueError(f"min_own must be {LEAST_OWN} or more, got {settings.min_own}")
