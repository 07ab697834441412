"""Broken lines (flat, then rising) fitted to many daily series at once."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class BrokenLineFits:
    """Best fit of each series; every array has one entry per series, nan (onset -1) where nothing fits.

    Attributes:
        statistic: rise per day divided by its standard error.
        onset_day: column after which the line rises.
        level_from: level of the flat part.
        level_to: level of the line on the last column.
        slope_per_day: rise per day after the onset.
        slope_se_per_day: its standard error.
        noise_sd: standard deviation of the series around the line.
    """

    statistic: Floats
    onset_day: Ints
    level_from: Floats
    level_to: Floats
    slope_per_day: Floats
    slope_se_per_day: Floats
    noise_sd: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Precision:
    """Tri-diagonal inverse correlation of the observed days, laid out on the dense day grid."""

    diagonal: Floats
    coupling: Floats  # between a day and the next observed one
    gap_days: Floats
    next_day: Ints


@dataclass(frozen=True, slots=True, eq=False)
class _Sums:
    """Products of ones, values and ramps under the inverse correlation; ramps give one column per onset."""

    ones_ones: Floats
    ones_values: Floats
    values_values: Floats
    ones_ramp: Floats
    values_ramp: Floats
    ramp_ramp: Floats


def fit_broken_lines(
    values: Floats,
    onset_days: Ints,
    *,
    day_correlation: float,
    prior_sd: float,
    prior_weight: float,
    min_before: int,
    min_after: int,
) -> BrokenLineFits:
    """Fit level + slope x max(0, day - onset) to each row and keep the onset with the clearest rise.

    Args:
        values: (n_series, n_days); nan = nothing observed on that day.
        onset_days: candidate onsets, as columns.
        day_correlation: correlation of two consecutive days, 0 <= r < 1; falls as r**gap with the gap in
            days.
        prior_sd: noise assumed before the series has shown its own.
        prior_weight: how many observations the assumed noise is worth; keeps short flat series from looking
            exact.
        min_before: observations needed up to an onset, and
        min_after: observations needed after it.

    Returns:
        BrokenLineFits, one entry per row.

    Raises:
        ValueError: values is not 2-D, day_correlation is outside [0, 1), or onset_days holds none or one
            outside the columns.

    Notes:
        Generalised least squares with a first-order autoregressive error, exact for unevenly observed days:
        the inverse correlation is tri-diagonal, so each onset costs a few products with the day grid.
        The maximum over onsets is not a t value: its threshold has to come from simulation.

    Source:
        Generalised least squares: Aitken AC 1935, Proc R Soc Edinb 55:42-48 (from memory). Combination of own
        and assumed noise: design choice.

    >>> days = np.arange(40.0)
    >>> row = 2 + 0.1 * np.maximum(0, days - 20)
    >>> fit = fit_broken_lines(row[None, :], np.array([10, 20, 30]), day_correlation=0.5, prior_sd=0.5,
    ...                        prior_weight=5, min_before=3, min_after=3)
    >>> int(fit.onset_day[0]), round(float(fit.level_to[0]), 2)
    (20, 3.9)
    """
    if values.ndim != 2:
        raise ValueError(f"values must have two dimensions, got {values.ndim}")
    if not 0 <= day_correlation < 1:
        raise ValueError(f"day_correlation must be at least 0 and below 1, got {day_correlation}")
    is_outside = (onset_days < 0) | (onset_days >= values.shape[1])
    if onset_days.size == 0 or is_outside.any():
        raise ValueError(f"onset_days must be columns of values, at least one, got {onset_days.tolist()}")
    is_seen = ~np.isnan(values)
    ramps = np.maximum(0.0, np.arange(values.shape[1])[:, None] - onset_days[None, :].astype(float))
    sums = _sums(np.where(is_seen, values, 0.0), is_seen, ramps, day_correlation)

    n_seen = is_seen.sum(axis=1)
    n_after = is_seen.astype(float) @ (ramps > 0)
    is_allowed = (n_after >= min_after) & (n_seen[:, None] - n_after >= min_before)
    with np.errstate(invalid="ignore", divide="ignore"):
        level_mean = sums.ones_values / sums.ones_ones
        ramp_left = sums.ramp_ramp - sums.ones_ramp**2 / sums.ones_ones[:, None]
        slope = (sums.values_ramp - sums.ones_ramp * level_mean[:, None]) / ramp_left
        gain = np.where(is_allowed & (slope > 0), slope**2 * ramp_left, -1.0)
    best = np.argmax(gain, axis=1)
    rows = np.arange(values.shape[0])
    is_fitted = gain[rows, best] > 0
    residual = np.maximum(0.0, sums.values_values - sums.ones_values * level_mean - gain[rows, best])
    freedom = np.maximum(n_seen - 3, 0) + prior_weight
    best_slope = slope[rows, best]
    with np.errstate(invalid="ignore", divide="ignore"):
        noise_sd = np.sqrt((residual + prior_weight * prior_sd**2) / freedom)
        slope_se = noise_sd / np.sqrt(ramp_left[rows, best])
        level_from = level_mean - best_slope * sums.ones_ramp[rows, best] / sums.ones_ones
        statistic = best_slope / slope_se
    last_ramp = ramps[-1, best]

    def kept(array: Floats) -> Floats:
        return np.where(is_fitted, array, np.nan)

    return BrokenLineFits(
        statistic=kept(statistic),
        onset_day=np.where(is_fitted, onset_days[best], -1),
        level_from=kept(level_from),
        level_to=kept(level_from + best_slope * last_ramp),
        slope_per_day=kept(best_slope),
        slope_se_per_day=kept(slope_se),
        noise_sd=kept(noise_sd),
    )


def _sums(seen_values: Floats, is_seen: NDArray[np.bool_], ramps: Floats, day_correlation: float) -> _Sums:
    precision = _precision(is_seen, day_correlation)
    weighted_ones = _apply(precision, is_seen.astype(float))
    weighted_values = _apply(precision, seen_values)
    return _Sums(
        ones_ones=weighted_ones.sum(axis=1),
        ones_values=weighted_values.sum(axis=1),
        values_values=(weighted_values * seen_values).sum(axis=1),
        ones_ramp=weighted_ones @ ramps,
        values_ramp=weighted_values @ ramps,
        ramp_ramp=(
            (precision.diagonal - 2 * precision.coupling) @ ramps**2
            - 2 * (precision.coupling * precision.gap_days) @ ramps
        ),
    )


def _precision(is_seen: NDArray[np.bool_], day_correlation: float) -> _Precision:
    n_days = is_seen.shape[1]
    days = np.arange(n_days)
    last_seen = np.maximum.accumulate(np.where(is_seen, days, -1), axis=1)
    previous = np.concatenate([np.full((is_seen.shape[0], 1), -1), last_seen[:, :-1]], axis=1)
    has_previous = is_seen & (previous >= 0)
    rows, columns = np.nonzero(has_previous)
    before = previous[rows, columns]
    gaps = (columns - before).astype(float)
    step = day_correlation**gaps
    own = 1 / (1 - step**2)

    diagonal = np.where(is_seen, 1.0, 0.0)
    coupling = np.zeros(is_seen.shape)
    gap_days = np.zeros(is_seen.shape)
    next_day = np.zeros(is_seen.shape, dtype=np.int64)
    diagonal[rows, columns] = own
    diagonal[rows, before] += own * step**2
    coupling[rows, before] = own * step
    gap_days[rows, before] = gaps
    next_day[rows, before] = columns
    return _Precision(diagonal, coupling, gap_days, next_day)


def _apply(precision: _Precision, dense: Floats) -> Floats:
    """Inverse correlation times a dense array that is zero on unobserved days."""
    product = precision.diagonal * dense
    rows, days = np.nonzero(precision.coupling)
    later = precision.next_day[rows, days]
    coupling = precision.coupling[rows, days]
    product[rows, days] -= coupling * dense[rows, later]
    product[rows, later] -= coupling * dense[rows, days]
    return product
