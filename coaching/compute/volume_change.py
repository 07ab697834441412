"""Joint reps of the last fortnight against the weeks before, with deload weeks and holidays left out."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class VolumeChanges:
    """Weekly joint reps of each series; nan where too few ordinary days are left.

    Attributes:
        recent_per_week: joint reps per week over the recent days.
        before_per_week: joint reps per week over the days before them.
        change: recent / before - 1.
        is_deload_day: (n_series, n_days) days that were left out.
    """

    recent_per_week: Floats
    before_per_week: Floats
    change: Floats
    is_deload_day: Bools


def compare_volume(
    joint_reps: Floats,
    *,
    recent_days: int = 14,
    before_days: int = 42,
    deload_drop: float = 0.3,
    min_days: int = 7,
    is_planned_deload: Bools | None = None,
) -> VolumeChanges:
    """Compare the weekly joint reps of the last days with those of the days before.

    Args:
        joint_reps: (n_series, n_days) joint reps per local day, 0 = none; the last column is the newest day.
        recent_days: length of the recent window.
        before_days: length of the window before it.
        deload_drop: a week this far (as a fraction) below the median trained week counts as deload.
        min_days: ordinary days that must be left in a window, else its volume is nan.
        is_planned_deload: (n_series, n_days) days of weeks that the plan marks as deload; left out as well.

    Returns:
        VolumeChanges.

    Raises:
        ValueError: joint_reps is not 2-D or holds a negative or missing value.

    Notes:
        A day is left out when it lies in any seven days that sum to less than (1 - deload_drop) of the median
        of all seven-day sums with training in them. So a return from a deload or a holiday is measured
        against the training before it. Where the window before holds too few ordinary days, the whole earlier
        history stands in for it. Where the recent window holds none, all its days count: it is a deload, not
        a rise.

    Source:
        Design choice.

    >>> weeks = np.repeat([[30.0, 30, 30, 30, 15, 30, 30, 36, 36]], 7, axis=1) / 7
    >>> round(float(compare_volume(weeks).change[0]), 2)
    0.2
    """
    if joint_reps.ndim != 2:
        raise ValueError(f"joint_reps must have two dimensions, got {joint_reps.ndim}")
    if not (joint_reps >= 0).all():
        raise ValueError("joint_reps must be 0 or more on every day, got a negative or missing value")
    is_deload = _deload_days(joint_reps, deload_drop)
    if is_planned_deload is not None:
        is_deload = is_deload | is_planned_deload
    n_days = joint_reps.shape[1]
    age_days = n_days - 1 - np.arange(n_days)
    is_recent = age_days < recent_days
    is_before = ~is_recent & (age_days < recent_days + before_days)

    recent = _per_week(joint_reps, is_recent & ~is_deload, min_days)
    recent = np.where(
        np.isnan(recent), _per_week(joint_reps, np.broadcast_to(is_recent, is_deload.shape), min_days), recent
    )
    before = _per_week(joint_reps, is_before & ~is_deload, min_days)
    before = np.where(np.isnan(before), _per_week(joint_reps, ~is_recent & ~is_deload, min_days), before)
    with np.errstate(invalid="ignore", divide="ignore"):
        change = np.where(before > 0, recent / before - 1, np.nan)
    return VolumeChanges(recent, before, change, is_deload)


def _deload_days(joint_reps: Floats, deload_drop: float) -> Bools:
    if joint_reps.shape[1] < 7:
        return np.zeros(joint_reps.shape, dtype=np.bool_)
    sums = np.cumsum(joint_reps, axis=1)
    weeks = sums[:, 6:] - np.concatenate([np.zeros((len(sums), 1)), sums[:, :-7]], axis=1)
    usual = _median_of_trained(weeks)
    is_low = weeks < (1 - deload_drop) * usual[:, None] - 1e-9
    low_until = np.cumsum(is_low, axis=1)
    padded = np.concatenate(
        [np.zeros((len(sums), 1), dtype=np.int64), low_until, np.repeat(low_until[:, -1:], 6, axis=1)], axis=1
    )
    n_days = joint_reps.shape[1]
    first = np.maximum(np.arange(n_days) - 6, 0)
    return np.asarray(padded[:, 1 : n_days + 1] - padded[:, first] > 0)


def _median_of_trained(weeks: Floats) -> Floats:
    """Median of the positive entries of each row, 0 where there is none."""
    ordered = np.sort(np.where(weeks > 0, weeks, np.inf), axis=1)
    n_trained = (weeks > 0).sum(axis=1)
    rows = np.arange(len(weeks))
    low = ordered[rows, np.maximum(n_trained - 1, 0) // 2]
    high = ordered[rows, n_trained // 2]
    return np.where(n_trained > 0, (low + high) / 2, 0.0)


def _per_week(joint_reps: Floats, is_counted: Bools, min_days: int) -> Floats:
    n_days = is_counted.sum(axis=1)
    total = (joint_reps * is_counted).sum(axis=1)
    return np.where(n_days >= min_days, 7 * total / np.maximum(n_days, 1), np.nan)
