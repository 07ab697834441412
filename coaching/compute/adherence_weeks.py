"""Adherence week by week, with bounds for what nobody logged."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.scheduled_sessions import (
    DEFAULT_SETTINGS,
    NOT_DONE,
    AdherenceSettings,
    ScheduledSessions,
    judge_sessions,
    session_ratios,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

DAYS = 7


@dataclass(frozen=True, slots=True, eq=False)
class WeeklyAdherence:
    """One client's weeks; every array has one entry per week, oldest first.

    Attributes:
        score_low, score_high: mean session ratio of the week with unknown sessions as 0 and as 1; nan where
            nothing counts.
        n_done, n_late, n_not_done, n_unknown: the sessions that count: attended, done after the grace days,
            not done, and without a log.
        n_pending, n_excused: due sessions that do not count yet, and that never will.
    """

    score_low: Floats
    score_high: Floats
    n_done: Ints
    n_late: Ints
    n_not_done: Ints
    n_unknown: Ints
    n_pending: Ints
    n_excused: Ints


def weekly_adherence(
    sessions: ScheduledSessions,
    *,
    first_day: int,
    n_weeks: int,
    as_of_day: int,
    settings: AdherenceSettings = DEFAULT_SETTINGS,
) -> WeeklyAdherence:
    """Score one client's sessions by the week they were scheduled for.

    Args:
        sessions: scheduled sessions of one client; those due outside of the weeks or after as_of_day are
            ignored.
        first_day: day number of the first day of the oldest week.
        n_weeks: number of weeks.
        as_of_day: newest day that may be seen.
        settings: constants of the rules.

    Returns:
        WeeklyAdherence.

    Raises:
        ValueError: n_weeks below 1, or as judge_sessions.

    Notes:
        Each session counts as in assess_adherence, in the week of its due date, also if it was done in the
        next one.

    Source:
        As assess_adherence; the week as the unit: design choice.

    >>> asked = np.full(3, 100.0)
    >>> sessions = ScheduledSessions(
    ...     client=np.zeros(3, dtype=int), due_day=np.array([1, 3, 8]),
    ...     state=np.array(["done", "unknown", "not_done"]), done_day=np.array([1, np.nan, np.nan]),
    ...     prescribed_sets=asked, completed_sets=asked, prescribed_reps=asked, completed_reps=asked,
    ...     prescribed_volume_kg=asked, completed_volume_kg=np.array([90.0, np.nan, np.nan]),
    ...     has_reached_effort=np.full(3, np.nan), is_excused=np.zeros(3, dtype=bool))
    >>> found = weekly_adherence(sessions, first_day=1, n_weeks=3, as_of_day=20)
    >>> found.score_low, found.score_high
    (array([0.45, 0.  ,  nan]), array([0.95, 0.  ,  nan]))
    """
    if n_weeks < 1:
        raise ValueError(f"n_weeks must be 1 or more, got {n_weeks}")
    judged = judge_sessions(sessions, as_of_day=as_of_day, settings=settings)
    week = (sessions.due_day - first_day) // DAYS
    is_seen = (week >= 0) & (week < n_weeks) & judged.is_due

    def total(is_chosen: Bools, values: Floats | None = None) -> Floats:
        is_used = is_seen & is_chosen
        weights = None if values is None else values[is_used]
        return np.bincount(week[is_used], weights, minlength=n_weeks).astype(float)

    def count(is_chosen: Bools) -> Ints:
        return total(is_chosen).astype(np.int64)

    counted = judged.is_counted
    at_best = np.where(judged.is_unknown, 1.0, judged.ratio)
    return WeeklyAdherence(
        score_low=session_ratios(total(counted, judged.ratio), total(counted)),
        score_high=session_ratios(total(counted, at_best), total(counted)),
        n_done=count(counted & judged.is_attended),
        n_late=count(counted & judged.is_late),
        n_not_done=count(counted & (sessions.state == NOT_DONE)),
        n_unknown=count(counted & judged.is_unknown),
        n_pending=count(judged.is_pending),
        n_excused=count(sessions.is_excused),
    )
