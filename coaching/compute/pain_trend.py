"""Does the pain of a joint site climb, and does its volume climb with it?"""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.broken_line import BrokenLineFits, fit_broken_lines
from coaching.compute.normal import two_sided_z
from coaching.compute.volume_change import compare_volume, volume_change_since

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Texts = NDArray[np.str_]

METHOD = "broken_line"
VERSION = "2"

SHORT_HISTORY = "short_history"
FEW_REPORTS = "few_reports"
NO_RECENT_REPORTS = "no_recent_reports"


@dataclass(frozen=True, slots=True)
class PainTrendSettings:
    """Constants of the pain trend rules; every default is a design choice tuned on generated cohorts.

    Attributes:
        window_days: newest columns that are looked at.
        onset_first_day, onset_last_day, onset_step_days: candidate onsets, in days before the newest column.
        day_correlation: correlation of pain on consecutive days.
        assumed_noise_sd: noise in points assumed before the client has shown their own, and
        assumed_noise_reports: how many reports that assumption is worth.
        threshold: rise over its standard error from which pain counts as climbing together with volume, where
            volume rose by min_volume_change, and
        threshold_steep: the same where it rose by steep_volume_change or more; in between, on the line from
            one to the other.
        min_rise: smallest rise in points that counts together with volume.
        threshold_alone, min_rise_alone: the same for pain that climbs without volume.
        min_volume_change: rise of volume, as a fraction, that counts, and
        steep_volume_change: from which it speaks most clearly.
        min_change_since_onset: change of volume since the onset of the pain, as a fraction, below which it
            counts as falling although the last fortnight wavered upwards.
        volume_recent_weeks, volume_before_weeks, deload_drop: see compare_volume.
        min_history_days: days since the first report or trained day.
        min_reports: reports needed in the window, and
        min_recent_reports: in its last 14 days.
        spike_points: a day this far above the reports on both sides is one bad night and is left out.
        interval: confidence of the interval of pain per week.
    """

    window_days: int = 84
    onset_first_day: int = 56
    onset_last_day: int = 10
    onset_step_days: int = 3
    day_correlation: float = 0.7
    assumed_noise_sd: float = 1.0
    assumed_noise_reports: float = 12.0
    threshold: float = 3.3
    threshold_steep: float = 1.8
    min_rise: float = 1.5
    threshold_alone: float = 3.1
    min_rise_alone: float = 2.0
    min_volume_change: float = 0.05
    steep_volume_change: float = 0.4
    min_change_since_onset: float = -0.05
    volume_recent_weeks: int = 2
    volume_before_weeks: int = 6
    deload_drop: float = 0.3
    min_history_days: int = 42
    min_reports: int = 10
    min_recent_reports: int = 2
    spike_points: float = 3.0
    interval: float = 0.9


DEFAULT_SETTINGS = PainTrendSettings()


@dataclass(frozen=True, slots=True, eq=False)
class SiteAssessments:
    """What a night knows about each series; every array has one entry per row.

    Attributes:
        is_pain_with_volume: pain climbs and volume climbed.
        is_pain_rising: pain climbs by a clear margin and not with volume; never together with the above.
        is_assessable: enough history and reports to say anything about pain.
        reason: why not, empty where assessable: short_history, few_reports or no_recent_reports.
        statistic: rise per day over its standard error, nan where nothing rises.
        threshold: what the statistic is held against.
        onset_day: column of the given arrays after which pain rises, -1 where nothing rises.
        level_from, level_to: pain of the line before the onset and on the last column, in points.
        pain_per_week: rise after the onset, in points a week, with its interval
        pain_per_week_low, pain_per_week_high of confidence interval.
        noise_sd: day-to-day noise of the client's pain around the line, in points.
        volume_recent_per_week, volume_before_per_week: joint reps a week, deload weeks left out.
        volume_change: recent / before - 1, nan where there is nothing to compare with.
        volume_change_since_onset: weeks since the onset / weeks before it - 1, likewise.
        n_reports: reports in the window, left-out spikes not counted.
        n_spikes: isolated bad days left out.
        n_missing: training days in the window without a report.
        first_day, last_day: columns of the given arrays where the window starts and ends.
        method, version: name and version of the rule.
    """

    is_pain_with_volume: Bools
    is_pain_rising: Bools
    is_assessable: Bools
    reason: Texts
    statistic: Floats
    threshold: Floats
    onset_day: Ints
    level_from: Floats
    level_to: Floats
    pain_per_week: Floats
    pain_per_week_low: Floats
    pain_per_week_high: Floats
    interval: float
    noise_sd: Floats
    volume_recent_per_week: Floats
    volume_before_per_week: Floats
    volume_change: Floats
    volume_change_since_onset: Floats
    n_reports: Ints
    n_spikes: Ints
    n_missing: Ints
    first_day: int
    last_day: int
    method: str
    version: str


def assess_sites(
    pain: Floats,
    joint_reps: Floats,
    settings: PainTrendSettings = DEFAULT_SETTINGS,
    is_planned_deload: Bools | None = None,
) -> SiteAssessments:
    """Say for each client and site whether pain climbs, with or without its volume.

    Args:
        pain: (n_series, n_days) pain 0-10 of each local day (the highest of during, after and next morning,
            on the training day); nan = no report. The last column is the newest day that may be seen.
        joint_reps: (n_series, n_days) joint reps of each day; 0 = none, never nan.
        settings: constants of the rule.
        is_planned_deload: (n_series, n_days) days of weeks that the plan marks as deload.

    Returns:
        SiteAssessments.

    Raises:
        ValueError: shapes differ, pain outside 0-10, negative or missing joint reps.

    Notes:
        Pain: broken line (flat, then rising) by generalised least squares over the window, noise estimated
        from the client, one isolated bad day left out. Volume: last fortnight against the six weeks before,
        deload weeks and holidays left out; nor may it have fallen since the onset of the pain. The steeper
        the volume, the less the pain has to show by itself. It compares a client with themselves only and
        says nothing about cause.

    Source:
        Design choice; thresholds tuned on generated cohorts.

    >>> day = np.arange(84)
    >>> climb = np.where(day % 2 == 0, np.round(1 + np.maximum(0, day - 56) / 7), np.nan)
    >>> reps = np.where(day % 2 == 0, 30 + np.maximum(0, day - 56), 0.0)
    >>> assess_sites(climb[None, :], reps[None, :]).is_pain_with_volume
    array([ True])
    """
    _check(pain, joint_reps, is_planned_deload)
    first_day = pain.shape[1] - settings.window_days
    pain = _window(pain, settings.window_days, np.nan)
    joint_reps = _window(joint_reps, settings.window_days, 0.0)
    if is_planned_deload is not None:
        is_planned_deload = _window(is_planned_deload.astype(float), settings.window_days, 0.0) > 0
    is_spike = find_spikes(pain, settings.spike_points)
    kept_pain = np.where(is_spike, np.nan, pain)
    fits = _fit(kept_pain, settings)
    volume = compare_volume(
        joint_reps,
        recent_weeks=settings.volume_recent_weeks,
        before_weeks=settings.volume_before_weeks,
        deload_drop=settings.deload_drop,
        is_planned_deload=is_planned_deload,
    )
    since_onset = volume_change_since(
        joint_reps,
        np.where(fits.onset_day >= 0, pain.shape[1] - 1 - fits.onset_day, 0),
        before_weeks=settings.volume_before_weeks,
        deload_drop=settings.deload_drop,
        is_planned_deload=is_planned_deload,
    )
    reason = _reasons(kept_pain, joint_reps, settings)
    is_assessable = reason == ""
    rise = fits.level_to - fits.level_from
    is_volume_up = (volume.change >= settings.min_volume_change) & ~(
        since_onset < settings.min_change_since_onset
    )
    threshold = np.where(is_volume_up, _thresholds(volume.change, settings), settings.threshold_alone)
    climbs = is_assessable & (fits.statistic >= threshold) & (rise >= settings.min_rise)
    climbs_clearly = (
        is_assessable & (fits.statistic >= settings.threshold_alone) & (rise >= settings.min_rise_alone)
    )
    is_with_volume = climbs & is_volume_up
    is_rising = climbs_clearly & ~is_with_volume
    half_width = two_sided_z(settings.interval) * fits.slope_se_per_day
    return SiteAssessments(
        is_pain_with_volume=is_with_volume,
        is_pain_rising=is_rising,
        is_assessable=is_assessable,
        reason=reason,
        statistic=fits.statistic,
        threshold=np.where(is_rising, settings.threshold_alone, threshold),
        onset_day=np.where(fits.onset_day >= 0, fits.onset_day + first_day, -1),
        level_from=fits.level_from,
        level_to=fits.level_to,
        pain_per_week=7 * fits.slope_per_day,
        pain_per_week_low=7 * (fits.slope_per_day - half_width),
        pain_per_week_high=7 * (fits.slope_per_day + half_width),
        interval=settings.interval,
        noise_sd=fits.noise_sd,
        volume_recent_per_week=volume.recent_per_week,
        volume_before_per_week=volume.before_per_week,
        volume_change=volume.change,
        volume_change_since_onset=since_onset,
        n_reports=(~np.isnan(kept_pain)).sum(axis=1),
        n_spikes=is_spike.sum(axis=1),
        n_missing=((joint_reps > 0) & np.isnan(pain)).sum(axis=1),
        first_day=max(0, first_day),
        last_day=first_day + pain.shape[1] - 1,
        method=METHOD,
        version=VERSION,
    )


def _thresholds(volume_change: Floats, settings: PainTrendSettings) -> Floats:
    """What the rise of pain has to show beside such a rise of volume."""
    changes = [settings.min_volume_change, settings.steep_volume_change]
    return np.interp(volume_change, changes, [settings.threshold, settings.threshold_steep])


def _fit(pain: Floats, settings: PainTrendSettings) -> BrokenLineFits:
    days_ago = np.arange(settings.onset_first_day, settings.onset_last_day - 1, -settings.onset_step_days)
    onsets = pain.shape[1] - 1 - days_ago
    return fit_broken_lines(
        pain,
        onsets[onsets >= 0],
        day_correlation=settings.day_correlation,
        prior_sd=settings.assumed_noise_sd,
        prior_weight=settings.assumed_noise_reports,
        min_before=4,
        min_after=3,
    )


def _window(daily: Floats, window_days: int, filler: float) -> Floats:
    """The newest columns; a shorter history is filled up with days on which nothing is known."""
    missing = max(0, window_days - daily.shape[1])
    return np.concatenate([np.full((len(daily), missing), filler), daily[:, -window_days:]], axis=1)


def find_spikes(pain: Floats, spike_points: float) -> Bools:
    """Mark days that lie well above the reports before and after them.

    Args:
        pain: (n_series, n_days) pain of each day; nan = no report.
        spike_points: points above both from which a day is a spike.

    Returns:
        (n_series, n_days) booleans.

    Notes:
        The newest report counts as a spike until the next one confirms it; the first report is never one.

    Source:
        Design choice.

    >>> find_spikes(np.array([[2.0, np.nan, 7.0, 2.0, 2.0, 6.0]]), 3).astype(int)
    array([[0, 0, 1, 0, 0, 1]])
    """
    before = _nearest_before(pain)
    after = _nearest_before(pain[:, ::-1])[:, ::-1]
    is_far_above = pain - before >= spike_points
    return np.asarray(is_far_above & (np.isnan(after) | (pain - after >= spike_points)))


def _nearest_before(pain: Floats) -> Floats:
    """Value of the nearest earlier report of each day, nan where there is none."""
    n_series, n_days = pain.shape
    last = np.maximum.accumulate(np.where(np.isnan(pain), -1, np.arange(n_days)), axis=1)
    previous = np.concatenate([np.full((n_series, 1), -1), last[:, :-1]], axis=1)
    values = np.take_along_axis(pain, np.maximum(previous, 0), axis=1)
    return np.where(previous >= 0, values, np.nan)


def _reasons(pain: Floats, joint_reps: Floats, settings: PainTrendSettings) -> Texts:
    is_reported = ~np.isnan(pain)
    n_days = pain.shape[1]
    is_known = is_reported | (joint_reps > 0)
    history_days = np.where(is_known.any(axis=1), n_days - np.argmax(is_known, axis=1), 0)
    n_reports = is_reported.sum(axis=1)
    n_recent = is_reported[:, -14:].sum(axis=1)
    return np.select(
        [
            history_days < settings.min_history_days,
            n_reports < settings.min_reports,
            n_recent < settings.min_recent_reports,
        ],
        [SHORT_HISTORY, FEW_REPORTS, NO_RECENT_REPORTS],
        default="",
    )


def _check(pain: Floats, joint_reps: Floats, is_planned_deload: Bools | None) -> None:
    if pain.ndim != 2:
        raise ValueError(f"pain must have two dimensions, got {pain.ndim}")
    if joint_reps.shape != pain.shape:
        raise ValueError(f"joint_reps must have the shape of pain {pain.shape}, got {joint_reps.shape}")
    if is_planned_deload is not None and is_planned_deload.shape != pain.shape:
        raise ValueError(
            f"is_planned_deload must have the shape of pain {pain.shape}, got {is_planned_deload.shape}"
        )
    if ((pain < 0) | (pain > 10)).any():
        raise ValueError(
            f"pain must lie in 0 to 10 or be nan, got {float(pain[(pain < 0) | (pain > 10)][0])}"
        )
