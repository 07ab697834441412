"""The numbers behind each finding, one client and one target at a time, as an alert keeps them."""

from dataclasses import dataclass
from datetime import date, timedelta

from coaching.compute.adherence import AdherenceAssessments
from coaching.compute.chance import lift_p, pain_rise_p
from coaching.compute.over_dose import OverDoses
from coaching.compute.pain import OverLimits, Settling
from coaching.compute.pain_trend import SiteAssessments
from coaching.compute.progress import LiftAssessments


@dataclass(frozen=True, slots=True)
class PainTrendNumbers:
    """Pain and volume of a site: points, points a week, joint reps a week; nan = not known."""

    from_on: date
    onset_on: date
    to_on: date
    pain_from: float
    pain_to: float
    pain_per_week: float
    pain_per_week_low: float
    pain_per_week_high: float
    interval: float
    statistic: float
    threshold: float
    noise_sd: float
    volume_before_per_week: float
    volume_recent_per_week: float
    volume_change: float
    volume_change_since_onset: float
    n_reports: int
    n_spikes: int
    n_missing: int
    p_value: float


@dataclass(frozen=True, slots=True)
class PainLimitNumbers:
    """Newest day at or above the limit, and how many there are among the recent days."""

    on: date
    pain: float
    limit: float
    n_days: int
    recent_days: int


@dataclass(frozen=True, slots=True)
class SettlingNumbers:
    """Mornings after training that lay above the usual morning."""

    newest_on: date
    newest_morning: float
    usual_morning: float
    n_above: int
    n_missing: int


@dataclass(frozen=True, slots=True)
class LiftNumbers:
    """Progress of a lift: changes are fractions, a week where the name says so."""

    from_on: date
    to_on: date
    slope_per_week: float
    slope_low_per_week: float
    slope_high_per_week: float
    interval: float
    expected_per_week: float
    best_recent_kg: float
    best_before_kg: float
    fall: float
    fall_mdc: float
    n_exposures: int
    n_left_out: int
    p_value: float


@dataclass(frozen=True, slots=True)
class AdherenceNumbers:
    """Bounds of the share of the prescribed dose done in the off-plan window, and what is not known in it."""

    days: int
    n_sessions: int
    score_low: float
    score_high: float
    n_unknown: int


@dataclass(frozen=True, slots=True)
class OverDoseNumbers:
    """Joint reps done and prescribed; ratio is nan where nothing was prescribed."""

    days: int
    completed_joint_reps: float
    prescribed_joint_reps: float
    ratio: float


@dataclass(frozen=True, slots=True)
class SilenceNumbers:
    """Days since the last post of any kind (None = never posted) and the sessions that were due meanwhile."""

    days_since_post: int | None
    days: int
    n_due: int


def describe_pain_trend(found: SiteAssessments, row: int, last_on: date) -> PainTrendNumbers:
    """Give the numbers of one series of assess_sites.

    Args:
        found: result of assess_sites.
        row: the series.
        last_on: date of the newest column.

    Returns:
        PainTrendNumbers; the onset is last_on where nothing rises.

    >>> import numpy as np
    >>> from coaching.compute.pain_trend import assess_sites
    >>> found = assess_sites(np.array([[2.0] * 84]), np.full((1, 84), 30.0))
    >>> numbers = describe_pain_trend(found, 0, date(2026, 3, 25))
    >>> numbers.from_on.isoformat(), numbers.n_reports
    ('2026-01-01', 84)
    """

    def on(column: int) -> date:
        return last_on - timedelta(days=found.last_day - column)

    return PainTrendNumbers(
        from_on=on(found.first_day),
        onset_on=on(int(found.onset_day[row])) if found.onset_day[row] >= 0 else last_on,
        to_on=last_on,
        pain_from=float(found.level_from[row]),
        pain_to=float(found.level_to[row]),
        pain_per_week=float(found.pain_per_week[row]),
        pain_per_week_low=float(found.pain_per_week_low[row]),
        pain_per_week_high=float(found.pain_per_week_high[row]),
        interval=found.interval,
        statistic=float(found.statistic[row]),
        threshold=float(found.threshold[row]),
        noise_sd=float(found.noise_sd[row]),
        volume_before_per_week=float(found.volume_before_per_week[row]),
        volume_recent_per_week=float(found.volume_recent_per_week[row]),
        volume_change=float(found.volume_change[row]),
        volume_change_since_onset=float(found.volume_change_since_onset[row]),
        n_reports=int(found.n_reports[row]),
        n_spikes=int(found.n_spikes[row]),
        n_missing=int(found.n_missing[row]),
        p_value=pain_rise_p(float(found.statistic[row])),
    )


def describe_pain_limit(found: OverLimits, row: int, last_on: date, n_days: int) -> PainLimitNumbers:
    """Give the numbers of one series of find_over_limit.

    Args:
        found: result of find_over_limit.
        row: a series with such a day.
        last_on: date of the newest column.
        n_days: number of columns that were given.

    Returns:
        PainLimitNumbers.

    >>> import numpy as np
    >>> from coaching.compute.pain import find_over_limit
    >>> found = find_over_limit(np.array([[1.0, 7.0, 3.0]]), np.array([np.nan]))
    >>> describe_pain_limit(found, 0, date(2026, 3, 25), n_days=3).on.isoformat()
    '2026-03-24'
    """
    return PainLimitNumbers(
        on=last_on - timedelta(days=n_days - 1 - int(found.day[row])),
        pain=float(found.pain[row]),
        limit=float(found.limit[row]),
        n_days=int(found.n_days[row]),
        recent_days=found.recent_days,
    )


def describe_settling(found: Settling, row: int, last_on: date, n_days: int) -> SettlingNumbers:
    """Give the numbers of one series of assess_settling.

    Args:
        found: result of assess_settling.
        row: a series with a recent morning.
        last_on: date of the newest column.
        n_days: number of columns that were given.

    Returns:
        SettlingNumbers.

    >>> import numpy as np
    >>> from coaching.compute.pain import assess_settling
    >>> found = assess_settling(np.array([[1.0] * 20 + [3.0, 4.0]]), np.ones((1, 22)), recent_days=7)
    >>> describe_settling(found, 0, date(2026, 3, 25), n_days=22).n_above
    2
    """
    return SettlingNumbers(
        newest_on=last_on - timedelta(days=n_days - 1 - int(found.newest_day[row])),
        newest_morning=float(found.newest_morning[row]),
        usual_morning=float(found.usual_morning[row]),
        n_above=int(found.n_above[row]),
        n_missing=int(found.n_missing[row]),
    )


def describe_lift(found: LiftAssessments, row: int) -> LiftNumbers:
    """Give the numbers of one lift of assess_lifts.

    Args:
        found: result of assess_lifts, whose days are date ordinals.
        row: an assessable lift.

    Returns:
        LiftNumbers.

    >>> import numpy as np
    >>> from coaching.compute.progress import assess_lifts
    >>> days = date(2026, 1, 1).toordinal() + np.arange(0.0, 84, 3.5)[None, :]
    >>> found = assess_lifts(days, np.full_like(days, 100.0), np.ones(days.shape, bool), np.array(["novice"]),
    ...                      as_of_day=days.max(), increment_kg=np.array([2.5]))
    >>> describe_lift(found, 0).from_on.isoformat()
    '2026-01-01'
    """
    return LiftNumbers(
        from_on=date.fromordinal(int(found.first_day[row])),
        to_on=date.fromordinal(int(found.last_day[row])),
        slope_per_week=float(found.slope_per_week[row]),
        slope_low_per_week=float(found.slope_low_per_week[row]),
        slope_high_per_week=float(found.slope_high_per_week[row]),
        interval=found.interval,
        expected_per_week=float(found.expected_per_week[row]),
        best_recent_kg=float(found.best_recent_kg[row]),
        best_before_kg=float(found.best_before_kg[row]),
        fall=float(found.fall[row]),
        fall_mdc=float(found.fall_mdc[row]),
        n_exposures=int(found.n_exposures[row]),
        n_left_out=int(found.n_left_out[row]),
        p_value=lift_p(found, row),
    )


def describe_adherence(found: AdherenceAssessments, row: int) -> AdherenceNumbers:
    """Give the numbers of one client of assess_adherence.

    Args:
        found: result of assess_adherence.
        row: the client.

    Returns:
        AdherenceNumbers.

    >>> import numpy as np
    >>> from coaching.compute.adherence import assess_adherence
    >>> from coaching.compute.scheduled_sessions import ScheduledSessions
    >>> asked = np.full(3, 100.0)
    >>> sessions = ScheduledSessions(
    ...     client=np.zeros(3, dtype=int), due_day=np.array([4, 5, 6]), state=np.array(["not_done"] * 3),
    ...     done_day=np.nan * asked, prescribed_sets=asked, completed_sets=0 * asked, prescribed_reps=asked,
    ...     completed_reps=0 * asked, prescribed_volume_kg=asked, completed_volume_kg=0 * asked,
    ...     has_reached_effort=np.nan * asked, is_excused=np.zeros(3, dtype=bool))
    >>> found = assess_adherence(sessions, n_clients=1, as_of_day=9, days_since_post=np.array([9.0]))
    >>> describe_adherence(found, 0).score_high
    0.0
    """
    return AdherenceNumbers(
        days=int(found.off_plan_days[row]),
        n_sessions=int(found.off_plan_sessions[row]),
        score_low=float(found.off_plan_score_low[row]),
        score_high=float(found.off_plan_score_high[row]),
        n_unknown=int(found.off_plan_unknown[row]),
    )


def describe_over_dose(found: OverDoses, row: int) -> OverDoseNumbers:
    """Give the numbers of one series of assess_over_dose.

    Args:
        found: result of assess_over_dose.
        row: the series.

    Returns:
        OverDoseNumbers.

    >>> import numpy as np
    >>> from coaching.compute.over_dose import assess_over_dose
    >>> found = assess_over_dose(np.full((1, 14), 15.0), np.full((1, 14), 10.0), np.array([True]))
    >>> describe_over_dose(found, 0).ratio
    1.5
    """
    return OverDoseNumbers(
        days=found.days,
        completed_joint_reps=float(found.completed_joint_reps[row]),
        prescribed_joint_reps=float(found.prescribed_joint_reps[row]),
        ratio=float(found.ratio[row]),
    )


def describe_silence(found: AdherenceAssessments, row: int, days_since_post: float) -> SilenceNumbers:
    """Give the numbers of one client's silence.

    Args:
        found: result of assess_adherence.
        row: the client.
        days_since_post: what was given to it for that client; nan = never posted.

    Returns:
        SilenceNumbers.

    >>> import numpy as np
    >>> from coaching.compute.adherence import assess_adherence
    >>> from coaching.compute.scheduled_sessions import ScheduledSessions
    >>> asked = np.full(3, 100.0)
    >>> sessions = ScheduledSessions(
    ...     client=np.zeros(3, dtype=int), due_day=np.array([4, 5, 6]), state=np.array(["not_done"] * 3),
    ...     done_day=np.nan * asked, prescribed_sets=asked, completed_sets=0 * asked, prescribed_reps=asked,
    ...     completed_reps=0 * asked, prescribed_volume_kg=asked, completed_volume_kg=0 * asked,
    ...     has_reached_effort=np.nan * asked, is_excused=np.zeros(3, dtype=bool))
    >>> found = assess_adherence(sessions, n_clients=1, as_of_day=9, days_since_post=np.array([9.0]))
    >>> describe_silence(found, 0, 9.0).n_due
    3
    """
    return SilenceNumbers(
        days_since_post=None if days_since_post != days_since_post else int(days_since_post),
        days=found.silent_days,
        n_due=int(found.n_due_in_silence[row]),
    )
