"""Broken lines (flat, then rising) by ordinary least squares, for series with independent noise."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import ArrayLike, NDArray
from coaching.compute.broken_line import fit_broken_lines

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class HingeFit:
    """Best broken line of one series; onset -1 and nan elsewhere where nothing rises.

    Attributes:
        onset: index after which the line rises.
        level: height of the flat part.
        slope: rise per index after the onset, above 0.
        statistic: slope over its standard error; infinite for a line without noise.
        residual_sd: standard deviation around the line, with three degrees of freedom spent.
        n: values used.
    """

    onset: int
    level: float
    slope: float
    statistic: float
    residual_sd: float
    n: int


@dataclass(frozen=True, slots=True, eq=False)
class HingeFits:
    """Best broken lines of many series; fields as in HingeFit, one entry per series."""

    onset: Ints
    level: Floats
    slope: Floats
    statistic: Floats
    residual_sd: Floats
    n: Ints


def hinge_fit(values: ArrayLike, onsets: Sequence[int] | Ints) -> HingeFit:
    """Fit level + slope x max(0, index - onset) to one series and keep the onset that fits best.

    Args:
        values: (n,), evenly spaced; nan = missing.
        onsets: candidate onsets, as indices; of equally good ones the first is kept.

    Returns:
        HingeFit.

    Raises:
        ValueError: values is not 1-D, an infinite value, no onset, or one outside the series.

    Notes:
        At least four values are needed, two of them after the onset and one up to it. The best of several
        onsets is not a t value: a threshold for the statistic has to come from simulation. Noise that is
        alike from day to day needs fit_broken_lines of the module broken_line.

    Source:
        Hinkley 1971, Biometrika 58:495-503, two-phase regression (from memory); rising only: design choice.

    >>> fit = hinge_fit([2, 2, 2, 2, 3, 4, 5.2], [2, 3, 4])
    >>> fit.onset, round(fit.slope, 2)
    (3, 1.05)
    """
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1:
        raise ValueError(f"values must have one dimension, got {series.ndim}")
    many = hinge_fit_many(series[None, :], onsets)
    return HingeFit(
        onset=int(many.onset[0]),
        level=float(many.level[0]),
        slope=float(many.slope[0]),
        statistic=float(many.statistic[0]),
        residual_sd=float(many.residual_sd[0]),
        n=int(many.n[0]),
    )


def hinge_fit_many(values: ArrayLike, onsets: Sequence[int] | Ints) -> HingeFits:
    """Fit broken lines to many series at once.

    Args:
        values: (n_series, n_times), evenly spaced; nan = missing.
        onsets: as for hinge_fit, for all series.

    Returns:
        HingeFits, one entry per row; see hinge_fit.

    Raises:
        ValueError: values is not 2-D, an infinite value, no onset, or one outside the series.

    Notes:
        The fit of fit_broken_lines with independent days and no assumed noise, on values less their mean, so
        that a large level costs no digits.

    Source:
        As hinge_fit.

    >>> hinge_fit_many([[1, 1, 1, 2, 3], [1, 1, 1, 1, 1]], [1, 2]).onset
    array([ 2, -1])
    """
    series, candidates = _checked(values, onsets)
    is_seen = ~np.isnan(series)
    n = is_seen.sum(axis=1)
    middle = np.where(is_seen, series, 0.0).sum(axis=1) / np.maximum(n, 1)
    left = series - middle[:, None]
    fits = fit_broken_lines(
        left, candidates, day_correlation=0, prior_sd=0, prior_weight=0, min_before=1, min_after=2
    )
    spread = np.nansum(left**2, axis=1)
    noise_sd = np.where(n >= 4, fits.noise_sd, np.nan)
    rest = noise_sd**2 * (n - 3)
    # A gain or a rest below the rounding error of the sums is no rise, and no noise.
    rounding = 1e-12 * spread + 1e-20 * np.nansum(series**2, axis=1)
    is_fitted = (n >= 4) & (spread - rest > rounding)
    is_exact = rest <= rounding

    def kept(array: Floats) -> Floats:
        return np.where(is_fitted, array, np.nan)

    return HingeFits(
        onset=np.where(is_fitted, fits.onset_day, -1),
        level=kept(fits.level_from + middle),
        slope=kept(fits.slope_per_day),
        statistic=kept(np.where(is_exact, np.inf, fits.statistic)),
        residual_sd=kept(np.where(is_exact, 0.0, noise_sd)),
        n=n,
    )


def _checked(values: ArrayLike, onsets: Sequence[int] | Ints) -> tuple[Floats, Ints]:
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 2:
        raise ValueError(f"values must have two dimensions, got {series.ndim}")
    if np.isinf(series).any():
        raise ValueError(f"values must be finite or nan, got {float(series[np.isinf(series)][0])}")
    candidates = np.asarray(onsets, dtype=np.int64)
    if candidates.size == 0:
        raise ValueError(f"onsets must hold at least one index, got {candidates.size}")
    is_outside = (candidates < 0) | (candidates >= series.shape[1])
    if is_outside.any():
        raise ValueError(
            f"onsets must be indices below {series.shape[1]}, got {int(candidates[is_outside][0])}"
        )
    return series, candidates
