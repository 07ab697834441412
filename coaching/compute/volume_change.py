"""Joint reps of the newest weeks against the ordinary weeks before, deloads and holidays left out."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class VolumeChanges:
    """Weekly joint reps of each series.

    Attributes:
        recent_per_week: joint reps a week over the recent weeks, whatever they were; nan where the columns
            hold fewer weeks than that.
        before_per_week: joint reps a week over the ordinary weeks before; nan where too few are left.
        change: recent / before - 1, nan where either is missing.
        n_weeks_before: ordinary weeks that before_per_week rests on.
        n_weeks_left_out: weeks before that were left out as deload or holiday.
    """

    recent_per_week: Floats
    before_per_week: Floats
    change: Floats
    n_weeks_before: Ints
    n_weeks_left_out: Ints


def compare_volume(
    joint_reps: Floats,
    *,
    recent_weeks: int = 2,
    before_weeks: int = 6,
    deload_drop: float = 0.3,
    min_weeks: int = 2,
    is_planned_deload: Bools | None = None,
) -> VolumeChanges:
    """Compare the weekly joint reps of the last weeks with those of the ordinary weeks before.

    Args:
        joint_reps: (n_series, n_days) joint reps per local day, 0 = none; the last column is the newest day.
        recent_weeks: length of the recent window, in spans of seven days counted back from the newest day.
        before_weeks: length of the window before it.
        deload_drop: a week at least this far (as a fraction) below the median trained week is a deload.
        min_weeks: ordinary weeks needed before the recent ones.
        is_planned_deload: (n_series, n_days) days of weeks that the plan marks as deload; a week with four
            or more of them is left out as well.

    Returns:
        VolumeChanges.

    Raises:
        ValueError: joint_reps is not 2-D or holds a negative or missing value.

    Notes:
        A deload or holiday is left out of the weeks before, so a return from it is measured against the
        training ahead of it. It is not left out of the recent weeks: a deload now is no rise. Where the
        window before holds too few ordinary weeks, the whole earlier history stands in for it.

    Source:
        Design choice.

    >>> weeks = np.repeat([[30.0, 30, 30, 30, 15, 30, 30, 36, 36]], 7, axis=1) / 7
    >>> compare_volume(weeks).change.round(2)
    array([0.2])
    """
    weeks, is_ordinary = _ordinary_weeks(joint_reps, deload_drop, is_planned_deload)
    place = np.arange(weeks.shape[1])
    in_window = (place >= recent_weeks) & (place < recent_weeks + before_weeks)
    in_history = place >= recent_weeks
    is_enough = (is_ordinary & in_window).sum(axis=1) >= min_weeks
    is_used = is_ordinary & np.where(is_enough[:, None], in_window, in_history)
    n_used = is_used.sum(axis=1)
    before = np.full(len(weeks), np.nan)
    np.divide((weeks * is_used).sum(axis=1), n_used, out=before, where=n_used >= min_weeks)
    recent = np.full(len(weeks), np.nan)
    if weeks.shape[1] >= recent_weeks:
        recent = weeks[:, :recent_weeks].sum(axis=1) / recent_weeks
    return VolumeChanges(
        recent_per_week=recent,
        before_per_week=before,
        change=recent / before - 1,
        n_weeks_before=n_used,
        n_weeks_left_out=(~is_ordinary & in_window).sum(axis=1),
    )


def volume_change_since(
    joint_reps: Floats,
    days_since: Ints,
    *,
    before_weeks: int = 6,
    deload_drop: float = 0.3,
    min_weeks: int = 2,
    is_planned_deload: Bools | None = None,
) -> Floats:
    """Compare the ordinary weeks since a day of each series with the ordinary weeks before it.

    Args:
        joint_reps: as for compare_volume.
        days_since: (n_series,) days from that day to the newest one; rounded to whole weeks, two at least.
        before_weeks, deload_drop, is_planned_deload: as for compare_volume.
        min_weeks: ordinary weeks needed on each side.

    Returns:
        (n_series,) mean week since / mean week before - 1, nan where either side holds too few weeks.

    Raises:
        ValueError: as compare_volume.

    Notes:
        Deloads and holidays are left out on both sides. Over many weeks a missed session weighs less than in
        a fortnight, so this tells a volume that falls from one that only wavers.

    Source:
        Design choice.

    >>> weeks = np.repeat([[30.0, 30, 30, 30, 30, 27, 24, 21, 30]], 7, axis=1) / 7
    >>> volume_change_since(weeks, np.array([28])).round(2)
    array([-0.1])
    """
    weeks, is_ordinary = _ordinary_weeks(joint_reps, deload_drop, is_planned_deload)
    place = np.arange(weeks.shape[1])
    n_since = np.maximum(np.round(days_since / 7), 2)[:, None]

    def mean(is_side: Bools) -> Floats:
        is_used = is_ordinary & is_side
        n_used = is_used.sum(axis=1)
        means = np.full(len(weeks), np.nan)
        np.divide((weeks * is_used).sum(axis=1), n_used, out=means, where=n_used >= min_weeks)
        return means

    return mean(place < n_since) / mean((place >= n_since) & (place < n_since + before_weeks)) - 1


def _ordinary_weeks(
    joint_reps: Floats, deload_drop: float, is_planned_deload: Bools | None
) -> tuple[Floats, Bools]:
    """Weekly sums, newest first, and which of them are neither deload nor holiday."""
    if joint_reps.ndim != 2:
        raise ValueError(f"joint_reps must have two dimensions, got {joint_reps.ndim}")
    is_wrong = ~(joint_reps >= 0)
    if is_wrong.any():
        raise ValueError(f"joint_reps must be 0 or more on every day, got {float(joint_reps[is_wrong][0])}")
    weeks = _by_week(joint_reps)
    is_deload = weeks <= (1 - deload_drop) * _median_of_trained(weeks)[:, None] + 1e-9
    if is_planned_deload is not None:
        is_deload = is_deload | (_by_week(is_planned_deload.astype(float)) >= 4)
    return weeks, ~is_deload & (weeks > 0)


def _by_week(daily: Floats) -> Floats:
    """Sums of seven days counted back from the newest day, newest first; a broken oldest week is dropped."""
    n_weeks = daily.shape[1] // 7
    newest_first = daily[:, ::-1][:, : 7 * n_weeks]
    sums: Floats = newest_first.reshape(len(daily), n_weeks, 7).sum(axis=2)
    return sums


def _median_of_trained(weeks: Floats) -> Floats:
    """Median of the positive entries of each row, 0 where there is none."""
    if weeks.shape[1] == 0:
        return np.zeros(len(weeks))
    ordered = np.sort(np.where(weeks > 0, weeks, np.inf), axis=1)
    n_trained = (weeks > 0).sum(axis=1)
    rows = np.arange(len(weeks))
    low = ordered[rows, np.maximum(n_trained - 1, 0) // 2]
    high = ordered[rows, n_trained // 2]
    return np.where(n_trained > 0, (low + high) / 2, 0.0)
