"""Trends of short series: Mann-Kendall, Theil-Sen slope, and false-discovery control over many tests."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import erfc, sqrt

import numpy as np

from coaching.compute.arrays import ArrayLike, NDArray
from coaching.compute.hinge import hinge_fit as hinge_fit
from coaching.compute.hinge import hinge_fit_many as hinge_fit_many
from coaching.compute.normal import two_sided_z

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EXACT_UP_TO = 10
PAIRS_AT_ONCE = 2_000_000  # keeps the pair arrays of a chunk of series at tens of megabytes


@dataclass(frozen=True, slots=True)
class MannKendall:
    """Mann-Kendall test of one series.

    Attributes:
        s: rising pairs less falling pairs.
        variance: of s without a trend, corrected for ties.
        z: s drawn one towards 0, over the square root of variance.
        p: two-sided, from the normal distribution of z.
        p_exact: two-sided share of all orders of these values with an s as far from 0; nan above 10 values.
        tau_b: rank correlation with time, corrected for ties; nan for a constant series.
        n: values used.
    """

    s: int
    variance: float
    z: float
    p: float
    p_exact: float
    tau_b: float
    n: int


@dataclass(frozen=True, slots=True, eq=False)
class MannKendalls:
    """Mann-Kendall tests of many series; fields as in MannKendall, one entry per series."""

    s: Ints
    variance: Floats
    z: Floats
    p: Floats
    p_exact: Floats
    tau_b: Floats
    n: Ints


@dataclass(frozen=True, slots=True)
class TheilSen:
    """Theil-Sen line of one series.

    Attributes:
        slope: median of the slopes of all pairs, in units of value per unit of time.
        low, high: confidence limits of the slope.
        intercept: median of values - slope x median of times.
        n: values used.
    """

    slope: float
    low: float
    high: float
    intercept: float
    n: int


@dataclass(frozen=True, slots=True, eq=False)
class TheilSens:
    """Theil-Sen lines of many series; fields as in TheilSen, one entry per series."""

    slope: Floats
    low: Floats
    high: Floats
    intercept: Floats
    n: Ints


def mann_kendall(values: ArrayLike) -> MannKendall:
    """Test one series, in the order of time, for a monotone trend.

    Args:
        values: (n,) any unit; nan is dropped. The spacing in time does not matter.

    Returns:
        MannKendall. Below 2 values z, p, p_exact and tau_b are nan; a constant series has z 0 and p 1.

    Raises:
        ValueError: values is not 1-D, or holds an infinite value.

    Notes:
        Assumes independent values: autocorrelation makes p too small. With 3 values or fewer nothing can be
        significant. p_exact holds under ties as well.

    Source:
        Mann 1945, Econometrica 13:245-259; Kendall 1975, Rank Correlation Methods; Gilbert 1987, Statistical
        Methods for Environmental Pollution Monitoring, for ties and continuity. Exact distribution:
        inversions of a multiset follow the Gaussian multinomial coefficient (MacMahon 1916, from memory).

    >>> found = mann_kendall([100, 50, 85, 75, 50])
    >>> found.s, round(found.z, 4), round(found.p_exact, 4)
    (-5, -1.0106, 0.3333)
    """
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1:
        raise ValueError(f"values must have one dimension, got {series.ndim}")
    many = mann_kendall_many(series[None, :])
    return MannKendall(
        s=int(many.s[0]),
        variance=float(many.variance[0]),
        z=float(many.z[0]),
        p=float(many.p[0]),
        p_exact=float(many.p_exact[0]),
        tau_b=float(many.tau_b[0]),
        n=int(many.n[0]),
    )


def mann_kendall_many(values: ArrayLike) -> MannKendalls:
    """Test many series at once for a monotone trend.

    Args:
        values: (n_series, n_times), each row in the order of time; nan = missing.

    Returns:
        MannKendalls, one entry per row; see mann_kendall.

    Raises:
        ValueError: values is not 2-D, or holds an infinite value.

    Source:
        As mann_kendall.

    >>> mann_kendall_many([[1, 2, 3, 4], [4, np.nan, 2, 1]]).s
    array([ 6, -3])
    """
    series = _series("values", values)
    n_series, n_times = series.shape
    n = (~np.isnan(series)).sum(axis=1)
    s, n_equal = np.zeros(n_series), np.zeros(series.shape, dtype=np.int64)
    signs = np.triu(np.ones((n_times, n_times)), 1) - np.tril(np.ones((n_times, n_times)), -1)
    for rows in _chunks(n_series, n_times**2):
        later, earlier = series[rows, None, :], series[rows, :, None]
        s[rows] = np.einsum("rij,ij->r", later > earlier, signs)
        n_equal[rows] = (later == earlier).sum(axis=2)
    variance = _variance(n, n_equal)
    z = np.zeros(n_series)
    np.divide(s - np.sign(s), np.sqrt(variance), out=z, where=s != 0)
    z[n < 2] = np.nan
    pairs = n * (n - 1) / 2
    tied_pairs = np.maximum(n_equal - 1, 0).sum(axis=1) / 2
    tau_b = np.full(n_series, np.nan)
    np.divide(s, np.sqrt((pairs - tied_pairs) * pairs), out=tau_b, where=pairs > tied_pairs)
    return MannKendalls(
        s=s.astype(np.int64),
        variance=variance,
        z=z,
        p=np.array([erfc(abs(each) / sqrt(2)) for each in z]),
        p_exact=_exact_p(series, s, n),
        tau_b=tau_b,
        n=n,
    )


def theil_sen(times: ArrayLike, values: ArrayLike, confidence: float = 0.95) -> TheilSen:
    """Fit a line to one series by the median of the slopes of all pairs.

    Args:
        times: (n,) in any order and unit; values of the same time make no pair.
        values: (n,); nan in either drops the value.
        confidence: two-sided, above 0 and below 1.

    Returns:
        TheilSen; all but n are nan where no two values differ in time. The limits are nan, too, where so many
        values share their time that Sen's variance is negative.

    Raises:
        ValueError: times and values are not 1-D and of one length, an infinite value, or confidence outside
            its range.

    Notes:
        With many ties the slope is often exactly 0 although a trend is there: read tau_b as well. Of the
        rank rules in print for the limits this is rounding to the nearest rank; others differ by one rank.

    Source:
        Theil 1950; Sen 1968, J Am Stat Assoc 63:1379-1389, eq. 2.6 (from memory). Intercept: Conover 1980,
        Practical Nonparametric Statistics (from memory).

    >>> line = theil_sen([0, 2, 5, 7, 9, 12, 14, 16, 19, 21], [2, 2, 3, 2, 3, 3, 4, 3, 4, 5])
    >>> round(line.slope, 6), round(line.low, 6), round(line.high, 6)
    (0.117647, 0.0, 0.2)
    """
    when, series = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if series.ndim != 1 or when.shape != series.shape:
        raise ValueError(
            f"times and values must have one dimension and one length, got {when.shape} and {series.shape}"
        )
    many = theil_sen_many(when[None, :], series[None, :], confidence)
    return TheilSen(
        slope=float(many.slope[0]),
        low=float(many.low[0]),
        high=float(many.high[0]),
        intercept=float(many.intercept[0]),
        n=int(many.n[0]),
    )


def theil_sen_many(times: ArrayLike, values: ArrayLike, confidence: float = 0.95) -> TheilSens:
    """Fit Theil-Sen lines to many series at once.

    Args:
        times: (n_times,) for all series, or (n_series, n_times).
        values: (n_series, n_times); nan = missing.
        confidence: as for theil_sen.

    Returns:
        TheilSens, one entry per row; see theil_sen.

    Raises:
        ValueError: shapes do not fit, an infinite value, or confidence outside its range.

    Source:
        As theil_sen.

    >>> theil_sen_many([0, 1, 2], [[1, 2, 3], [5, np.nan, 1]]).slope
    array([ 1., -2.])
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")
    series = _series("values", values)
    when = _series("times", np.atleast_2d(np.asarray(times, dtype=np.float64)))
    if when.shape not in (series.shape, (1, series.shape[1])):
        raise ValueError(f"times must fit values of shape {series.shape}, got {when.shape}")
    is_used = ~np.isnan(series) & ~np.isnan(when)
    series, when = np.where(is_used, series, np.nan), np.where(is_used, when, np.nan)
    first, second = np.triu_indices(series.shape[1], 1)
    found = np.full((4, len(series)), np.nan)
    half_width = two_sided_z(confidence) * _sen_sd(when, series, is_used)
    for rows in _chunks(len(series), max(1, len(first))):
        steps = when[rows][:, second] - when[rows][:, first]
        slopes = np.full(steps.shape, np.nan)
        np.divide(series[rows][:, second] - series[rows][:, first], steps, out=slopes, where=steps != 0)
        slopes.sort(axis=1)
        found[:3, rows] = _middle_and_limits(slopes, half_width[rows])
    found[3] = _row_medians(series) - found[0] * _row_medians(when)
    return TheilSens(slope=found[0], low=found[1], high=found[2], intercept=found[3], n=is_used.sum(axis=1))


def false_discovery_control(p_values: ArrayLike) -> Floats:
    """Adjust p values so that rejecting those at or below q keeps the false-discovery rate at q.

    Args:
        p_values: (n,) two-sided or one-sided p values of one family; nan = not tested, not counted.

    Returns:
        (n,) adjusted p values in the order given, nan where not tested.

    Raises:
        ValueError: p_values is not 1-D, or a value lies outside 0 to 1.

    Notes:
        For independent tests and for positively dependent ones. It orders what a coach reads; a rule that
        concerns one client's safety must not depend on how many others were tested.

    Source:
        Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300.

    >>> false_discovery_control([0.008, 0.03, 0.123, 0.6, 0.2])
    array([0.04 , 0.075, 0.205, 0.6  , 0.25 ])
    """
    p = np.asarray(p_values, dtype=np.float64)
    if p.ndim != 1:
        raise ValueError(f"p_values must have one dimension, got {p.ndim}")
    if ((p < 0) | (p > 1)).any():
        raise ValueError(f"p_values must lie in 0 to 1 or be nan, got {float(p[(p < 0) | (p > 1)][0])}")
    order = np.argsort(p, kind="stable")[: int((~np.isnan(p)).sum())]
    scaled = p[order] * len(order) / np.arange(1, len(order) + 1)
    adjusted = np.full(p.shape, np.nan)
    adjusted[order] = np.minimum(1.0, np.minimum.accumulate(scaled[::-1])[::-1])
    return adjusted


def _variance(n: Ints, n_equal: Ints) -> Floats:
    """Variance of s; n_equal says for each value how many equal it, so each group of t is summed t times."""
    ties = np.where(n_equal > 0, (n_equal - 1) * (2 * n_equal + 5), 0).sum(axis=1)
    return np.asarray((n * (n - 1) * (2 * n + 5) - ties) / 18)


def _exact_p(series: Floats, s: Floats, n: Ints) -> Floats:
    p_exact = np.full(len(series), np.nan)
    for row in np.nonzero((n >= 2) & (n <= EXACT_UP_TO))[0]:
        _, sizes = np.unique(series[row][~np.isnan(series[row])], return_counts=True)
        p_exact[row] = _share_as_extreme(tuple(sorted(sizes.tolist())), abs(int(s[row])))
    return p_exact


@lru_cache(maxsize=4096)
def _share_as_extreme(group_sizes: tuple[int, ...], distance: int) -> float:
    """Share of the orders of a multiset whose s lies at least `distance` from 0.

    The orders with i inversions number the coefficient of q**i in [n]!_q / ([t1]!_q [t2]!_q ...), and
    s = untied pairs - 2 i.
    """
    orders = _q_factorial(sum(group_sizes))
    for size in group_sizes:
        orders = np.asarray(np.polydiv(orders, _q_factorial(size))[0], dtype=np.float64)
    s = len(orders) - 1 - 2 * np.arange(len(orders))
    return float(orders[np.abs(s) >= distance].sum() / orders.sum())


def _q_factorial(n: int) -> Floats:
    """Coefficients of (1)(1 + q)(1 + q + q^2)...; whole numbers, exact in floating point up to n = 10."""
    product = np.ones(1)
    for length in range(2, n + 1):
        product = np.convolve(product, np.ones(length))
    return product


def _sen_sd(when: Floats, series: Floats, is_used: NDArray[np.bool_]) -> Floats:
    n = is_used.sum(axis=1)
    free = n * (n - 1) * (2 * n + 5) / 18
    variance = _variance(n, _count_equal(when)) + _variance(n, _count_equal(series)) - free
    return np.sqrt(np.where(variance >= 0, variance, np.nan))


def _count_equal(series: Floats) -> Ints:
    """For each value how many of its row equal it, itself included; 0 for nan."""
    count = np.zeros(series.shape, dtype=np.int64)
    for rows in _chunks(len(series), series.shape[1] ** 2):
        count[rows] = (series[rows, None, :] == series[rows, :, None]).sum(axis=2)
    return count


def _middle_and_limits(slopes: Floats, half_width: Floats) -> Floats:
    """Median and confidence limits of each row of sorted slopes, nan at the end."""
    n_slopes = (~np.isnan(slopes)).sum(axis=1)
    found = np.full((3, len(slopes)), np.nan)
    if slopes.shape[1] == 0:
        return found
    found[0] = _sorted_medians(slopes, n_slopes)
    is_bounded = (n_slopes > 0) & ~np.isnan(half_width)
    width = np.where(is_bounded, half_width, 0.0)
    low = np.maximum(np.round((n_slopes - width) / 2).astype(np.int64) - 1, 0)
    high = np.minimum(np.round((n_slopes + width) / 2).astype(np.int64), np.maximum(n_slopes - 1, 0))
    rows = np.arange(len(slopes))
    found[1] = np.where(is_bounded, slopes[rows, low], np.nan)
    found[2] = np.where(is_bounded, slopes[rows, high], np.nan)
    return found


def _row_medians(series: Floats) -> Floats:
    if series.shape[1] == 0:
        return np.full(len(series), np.nan)
    return _sorted_medians(np.sort(series, axis=1), (~np.isnan(series)).sum(axis=1))


def _sorted_medians(ordered: Floats, n: Ints) -> Floats:
    """Median of the first n of each sorted row; nan where n is 0: such a row is all nan."""
    rows = np.arange(len(ordered))
    return np.asarray((ordered[rows, np.maximum(n - 1, 0) // 2] + ordered[rows, n // 2]) / 2)


def _series(name: str, values: ArrayLike) -> Floats:
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 2:
        raise ValueError(f"{name} must have two dimensions, got {series.ndim}")
    if np.isinf(series).any():
        raise ValueError(f"{name} must be finite or nan, got {float(series[np.isinf(series)][0])}")
    return series


def _chunks(n_series: int, pairs_per_series: int) -> Iterator[slice]:
    step = max(1, PAIRS_AT_ONCE // max(1, pairs_per_series))
    return (slice(start, start + step) for start in range(0, n_series, step))
