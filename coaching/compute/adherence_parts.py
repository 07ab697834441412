"""Adherence taken apart: attendance, sets, reps, load and effort, per session and over 28 days."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.scheduled_sessions import (
    DEFAULT_SETTINGS,
    AdherenceSettings,
    JudgedSessions,
    ScheduledSessions,
    judge_sessions,
    session_ratios,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class SessionParts:
    """Parts of each session as completed / prescribed, one entry per session, not capped.

    Attributes:
        attended: 1 = done within the grace days, 0 = not; nan = not known.
        sets, reps: work sets and reps (or seconds); 0 where not attended, nan where not known or none were
            prescribed.
        load: mean load of a rep; nan where not attended or where either load is not known.
        effort: 1 = reached its effort, 0 = not; nan where not attended or not known.
        is_modified: attended with fewer sets, fewer reps or less load than prescribed, and
        is_over: with more of any of them; a difference in load must exceed its tolerance.
    """

    attended: Floats
    sets: Floats
    reps: Floats
    load: Floats
    effort: Floats
    is_modified: Bools
    is_over: Bools


@dataclass(frozen=True, slots=True, eq=False)
class PartScores:
    """Mean of each part over the score window, one entry per client; nan where nothing counts.

    Attributes:
        sets_low, sets_high, reps_low, reps_high: sessions without a log as 0 and as 1, each session capped at
            1; sessions for which none were prescribed are left out.
        load, effort: over the attended sessions whose value is known; load is capped at 1 in each session.
        n_modified, n_over: attended sessions with less and with more than was prescribed, as in SessionParts.
    """

    sets_low: Floats
    sets_high: Floats
    reps_low: Floats
    reps_high: Floats
    load: Floats
    effort: Floats
    n_modified: Ints
    n_over: Ints


def session_parts(
    sessions: ScheduledSessions, *, as_of_day: int, settings: AdherenceSettings = DEFAULT_SETTINGS
) -> SessionParts:
    """Hold each session against what was prescribed for its date, part by part.

    Args:
        sessions: scheduled sessions.
        as_of_day: newest day that may be seen.
        settings: constants of the rules; a session done after the grace days counts as not attended.

    Returns:
        SessionParts.

    Raises:
        ValueError: as judge_sessions.

    Source:
        Attendance, dose, modified: Fairman 2020, Med Sci Sports Exerc 52(2):315-322; Nilsen 2018, Med Sci
        Sports Exerc 50(6):1134-1141. Load apart from dose: design choice.

    >>> one = np.ones(1)
    >>> sessions = ScheduledSessions(
    ...     client=np.zeros(1, dtype=int), due_day=np.array([1]), state=np.array(["done"]), done_day=one,
    ...     prescribed_sets=6 * one, completed_sets=6 * one, prescribed_reps=60 * one,
    ...     completed_reps=45 * one, prescribed_volume_kg=3000 * one, completed_volume_kg=2250 * one,
    ...     has_reached_effort=one, is_excused=np.zeros(1, dtype=bool))
    >>> parts = session_parts(sessions, as_of_day=1)
    >>> parts.sets, parts.reps, parts.load
    (array([1.]), array([0.75]), array([1.]))
    """
    return _parts(sessions, judge_sessions(sessions, as_of_day=as_of_day, settings=settings), settings)


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
    judged = judge_sessions(sessions, as_of_day=as_of_day, settings=settings)
    parts = _parts(sessions, judged, settings)
    is_counted = judged.is_counted & (judged.age < settings.score_days)

    def mean(ratios: Floats, unknown_as: float, is_asked: Bools) -> Floats:
        known = np.where(judged.is_unknown, unknown_as, np.minimum(ratios, 1.0))
        is_used = is_counted & is_asked & ~np.isnan(known)
        total = np.bincount(sessions.client[is_used], known[is_used], minlength=n_clients)
        n_used = np.bincount(sessions.client[is_used], minlength=n_clients)
        return session_ratios(total.astype(float), n_used.astype(float))

    def count(is_chosen: Bools) -> Ints:
        return np.bincount(sessions.client[is_chosen & is_counted], minlength=n_clients)

    has_sets, has_reps = sessions.prescribed_sets > 0, sessions.prescribed_reps > 0
    return PartScores(
        sets_low=mean(parts.sets, 0.0, has_sets),
        sets_high=mean(parts.sets, 1.0, has_sets),
        reps_low=mean(parts.reps, 0.0, has_reps),
        reps_high=mean(parts.reps, 1.0, has_reps),
        load=mean(parts.load, np.nan, judged.is_attended),
        effort=mean(parts.effort, np.nan, judged.is_attended),
        n_modified=count(parts.is_modified),
        n_over=count(parts.is_over),
    )


def _parts(sessions: ScheduledSessions, judged: JudgedSessions, settings: AdherenceSettings) -> SessionParts:
    is_attended = judged.is_attended

    def part(completed: Floats, prescribed: Floats) -> Floats:
        missed = np.where(prescribed > 0, 0.0, np.nan)
        ratios = session_ratios(completed, prescribed)
        return np.select([is_attended, judged.is_unknown], [ratios, np.full(ratios.shape, np.nan)], missed)

    sets = part(sessions.completed_sets, sessions.prescribed_sets)
    reps = part(sessions.completed_reps, sessions.prescribed_reps)
    mean_loads = session_ratios(_mean_load(sessions, "completed"), _mean_load(sessions, "prescribed"))
    load = np.where(is_attended, mean_loads, np.nan)
    beyond = np.stack([sets - 1, reps - 1, load - 1])
    tolerance = np.array([[_ROUNDING], [_ROUNDING], [settings.load_tolerance]])
    return SessionParts(
        attended=np.where(judged.is_unknown, np.nan, is_attended.astype(float)),
        sets=sets,
        reps=reps,
        load=load,
        effort=np.where(is_attended, sessions.has_reached_effort, np.nan),
        is_modified=is_attended & (beyond < -tolerance).any(axis=0),
        is_over=is_attended & (beyond > tolerance).any(axis=0),
    )


def _mean_load(sessions: ScheduledSessions, which: str) -> Floats:
    """Volume over reps; nan where there are no reps."""
    volume_kg: Floats = getattr(sessions, f"{which}_volume_kg")
    reps: Floats = getattr(sessions, f"{which}_reps")
    return session_ratios(volume_kg, reps)
