"""Adherence taken apart: attendance, sets, reps, load and effort, per session and over 28 days."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coaching.compute.adherence import (
    DEFAULT_SETTINGS,
    DONE,
    UNKNOWN,
    AdherenceSettings,
    ScheduledSessions,
    session_ratios,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class SessionParts:
    """Parts of each session as completed / prescribed, one entry per session, not capped.

    Attributes:
        attended: 1 = done within the grace days, 0 = not; nan = not known.
        sets, reps: work sets and reps (or seconds); 0 where not attended, nan where not known or none were
            prescribed.
        load: mean load of a rep; nan where not attended or where either load is not known.
        effort: 1 = reached its effort, 0 = not; nan where not attended or not known.
        is_modified: attended with fewer sets, fewer reps or less load than prescribed.
    """

    attended: Floats
    sets: Floats
    reps: Floats
    load: Floats
    effort: Floats
    is_modified: Bools


@dataclass(frozen=True, slots=True)
class PartScores:
    """Mean of each part over the score window, one entry per client; nan where nothing counts.

    Attributes:
        attended_low, attended_high: sessions without a log as 0 and as 1.
        sets_low, sets_high, reps_low, reps_high: likewise, each session capped at 1.
        load, effort: over the attended sessions whose value is known; load is capped at 1 in each session.
        n_modified: attended sessions with fewer sets, fewer reps or less load than prescribed, and
        n_over: those with more of any of them.
    """

    attended_low: Floats
    attended_high: Floats
    sets_low: Floats
    sets_high: Floats
    reps_low: Floats
    reps_high: Floats
    load: Floats
    effort: Floats
    n_modified: Ints
    n_over: Ints


def session_parts(
    sessions: ScheduledSessions, settings: AdherenceSettings = DEFAULT_SETTINGS
) -> SessionParts:
    """Hold each session against what was prescribed for its date, part by part.

    Args:
        sessions: scheduled sessions; prescribed amounts are those of the version in force on the due date
            (versions_in_force), so that a change made later leaves them alone.
        settings: constants of the rules; a session done after the grace days counts as not attended.

    Returns:
        SessionParts.

    Raises:
        ValueError: completed and prescribed amounts differ in length.

    Source:
        Attendance, dose, modified: Fairman 2020, Med Sci Sports Exerc 52(2):315-322; Nilsen 2018, Med Sci
        Sports Exerc 50(6):1134-1141. Load apart from dose: design choice.

    >>> one = np.ones(1)
    >>> sessions = ScheduledSessions(
    ...     client=np.zeros(1, dtype=int), due_day=np.array([1]), state=np.array(["done"]), done_day=one,
    ...     prescribed_sets=6 * one, completed_sets=6 * one, prescribed_reps=60 * one,
    ...     completed_reps=45 * one, prescribed_volume_kg=3000 * one, completed_volume_kg=2250 * one,
    ...     has_reached_effort=one, is_excused=np.zeros(1, dtype=bool))
    >>> parts = session_parts(sessions)
    >>> parts.sets, parts.reps, parts.load
    (array([1.]), array([0.75]), array([1.]))
    """
    is_unknown = sessions.state == UNKNOWN
    is_attended = (sessions.state == DONE) & ~(sessions.days_late > settings.grace_days)

    def part(completed: Floats, prescribed: Floats) -> Floats:
        missed = np.where(prescribed > 0, 0.0, np.nan)
        ratios = session_ratios(completed, prescribed)
        return np.select([is_attended, is_unknown], [ratios, np.full(ratios.shape, np.nan)], missed)

    sets = part(sessions.completed_sets, sessions.prescribed_sets)
    reps = part(sessions.completed_reps, sessions.prescribed_reps)
    mean_loads = session_ratios(_mean_load(sessions, "completed"), _mean_load(sessions, "prescribed"))
    load = np.where(is_attended, mean_loads, np.nan)
    return SessionParts(
        attended=np.where(is_unknown, np.nan, is_attended.astype(float)),
        sets=sets,
        reps=reps,
        load=load,
        effort=np.where(is_attended, sessions.has_reached_effort, np.nan),
        is_modified=is_attended & _any_beyond(sets, reps, load, -1),
    )


def score_parts(
    sessions: ScheduledSessions,
    *,
    n_clients: int,
    as_of_day: int,
    settings: AdherenceSettings = DEFAULT_SETTINGS,
) -> PartScores:
    """Average the parts of each client's sessions over the score window.

    Args:
        sessions: scheduled sessions of all clients; later, pending and excused ones do not count, as in
            assess_adherence.
        n_clients: number of clients; client indices run from 0 to n_clients - 1.
        as_of_day: newest day that may be seen.
        settings: constants of the rules.

    Returns:
        PartScores.

    Raises:
        ValueError: as session_parts.

    Notes:
        The mean of the sessions' ratios, not the ratio of their sums. Doing more in one session does not make
        up for less in another; it is counted apart.

    Source:
        As session_parts; windows: design choice.

    >>> one = np.ones(2)
    >>> sessions = ScheduledSessions(
    ...     client=np.zeros(2, dtype=int), due_day=np.array([1, 3]), state=np.array(["done", "unknown"]),
    ...     done_day=np.array([1, np.nan]), prescribed_sets=6 * one, completed_sets=3 * one,
    ...     prescribed_reps=60 * one, completed_reps=30 * one, prescribed_volume_kg=np.nan * one,
    ...     completed_volume_kg=np.nan * one, has_reached_effort=one, is_excused=np.zeros(2, dtype=bool))
    >>> scores = score_parts(sessions, n_clients=1, as_of_day=9)
    >>> scores.sets_low, scores.sets_high
    (array([0.25]), array([0.75]))
    """
    parts = session_parts(sessions, settings)
    age = as_of_day - sessions.due_day
    is_unknown = sessions.state == UNKNOWN
    is_pending = is_unknown & (age < settings.grace_days)
    is_counted = (age >= 0) & (age < settings.score_days) & ~is_pending & ~sessions.is_excused

    def mean(ratios: Floats, unknown_as: float = np.nan, is_asked: Bools | None = None) -> Floats:
        known = np.where(is_unknown, unknown_as, np.minimum(ratios, 1.0))
        is_used = is_counted & ~np.isnan(known)
        if is_asked is not None:
            is_used &= is_asked
        total = np.bincount(sessions.client[is_used], known[is_used], minlength=n_clients)
        n_used = np.bincount(sessions.client[is_used], minlength=n_clients)
        means = np.full(n_clients, np.nan)
        np.divide(total, n_used, out=means, where=n_used > 0)
        return means

    def count(is_chosen: Bools) -> Ints:
        return np.bincount(sessions.client[is_chosen & is_counted], minlength=n_clients)

    has_sets, has_reps = sessions.prescribed_sets > 0, sessions.prescribed_reps > 0
    is_over = (parts.attended == 1) & _any_beyond(parts.sets, parts.reps, parts.load, 1)
    return PartScores(
        attended_low=mean(parts.attended, 0.0),
        attended_high=mean(parts.attended, 1.0),
        sets_low=mean(parts.sets, 0.0, has_sets),
        sets_high=mean(parts.sets, 1.0, has_sets),
        reps_low=mean(parts.reps, 0.0, has_reps),
        reps_high=mean(parts.reps, 1.0, has_reps),
        load=mean(parts.load),
        effort=mean(parts.effort),
        n_modified=count(parts.is_modified),
        n_over=count(is_over),
    )


def versions_in_force(version_from_day: Ints, due_day: Ints) -> Ints:
    """Say which version of a prescription each session is held against: the one valid on its due date.

    Args:
        version_from_day: (n_versions,) day number from which each version is valid, ascending; of two
            versions of one day the later one counts.
        due_day: (n_sessions,) day number of each session.

    Returns:
        (n_sessions,) index of the version; -1 for a session before the first one.

    Raises:
        ValueError: version_from_day is not 1-D or not ascending.

    Source:
        Design choice: what a coach lowers before a session lowers its denominator; what is cut during it
        counts as modified.

    >>> versions_in_force(np.array([10, 20]), np.array([5, 10, 19, 20]))
    array([-1,  0,  0,  1])
    """
    if version_from_day.ndim != 1:
        raise ValueError(f"version_from_day must have one dimension, got {version_from_day.ndim}")
    falls = np.nonzero(np.diff(version_from_day) < 0)[0]
    if falls.size:
        before, after = version_from_day[falls[0] : falls[0] + 2]
        raise ValueError(f"version_from_day must be ascending, got {after} after {before}")
    return np.asarray(np.searchsorted(version_from_day, due_day, side="right") - 1)


def _mean_load(sessions: ScheduledSessions, which: str) -> Floats:
    """Volume over reps; nan where there are no reps."""
    volume_kg: Floats = getattr(sessions, f"{which}_volume_kg")
    reps: Floats = getattr(sessions, f"{which}_reps")
    return session_ratios(volume_kg, reps)


def _any_beyond(sets: Floats, reps: Floats, load: Floats, direction: int) -> Bools:
    """Where any part lies above 1 (direction 1) or below (direction -1) by more than rounding."""
    return np.asarray(np.any([direction * (part - 1) > 1e-9 for part in (sets, reps, load)], axis=0))
