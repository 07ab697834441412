"""What was done against what was prescribed on that date, with bounds for what nobody logged."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Texts = NDArray[np.str_]

METHOD = "bounded_dose_ratio"
VERSION = "1"

DONE = "done"
NOT_DONE = "not_done"
UNKNOWN = "unknown"
STATES = (DONE, NOT_DONE, UNKNOWN)


@dataclass(frozen=True, slots=True)
class AdherenceSettings:
    """Constants of the adherence rules; all are design choices.

    Attributes:
        score_days: length of the score window.
        off_plan_days: length of the window of off_plan and unlogged, and
        off_plan_days_widened: used instead where the shorter one holds too few sessions.
        off_plan_score: score at or below which a client is off plan.
        min_sessions: counted sessions needed in that window.
        grace_days: a session may be done this many days late, and an unlogged one counts only after them.
        silent_days: days without any post from which a client with sessions scheduled is silent.
    """

    score_days: int = 28
    off_plan_days: int = 10
    off_plan_days_widened: int = 14
    off_plan_score: float = 0.6
    min_sessions: int = 3
    grace_days: int = 2
    silent_days: int = 7


DEFAULT_SETTINGS = AdherenceSettings()


@dataclass(frozen=True, slots=True)
class ScheduledSessions:
    """Sessions on the clients' calendars, one entry per session, in any order.

    Attributes:
        client: index of the client, 0 and up.
        due_day: day number of the local date it was scheduled for.
        state: done, not_done (said by client or coach) or unknown (no log).
        done_day: day number it was done on; nan where it was not.
        prescribed_sets, completed_sets: work sets.
        prescribed_reps, completed_reps: reps, or seconds for timed work.
        prescribed_volume_kg, completed_volume_kg: sum of reps x load; nan or 0 where the work has no load.
        has_reached_effort: 1 where the effort target was reached, 0 where not, nan where not known.
        is_excused: stopped by a clinician or cancelled by the coach; leaves the denominator.
    """

    client: Ints
    due_day: Ints
    state: Texts
    done_day: Floats
    prescribed_sets: Floats
    completed_sets: Floats
    prescribed_reps: Floats
    completed_reps: Floats
    prescribed_volume_kg: Floats
    completed_volume_kg: Floats
    has_reached_effort: Floats
    is_excused: Bools


@dataclass(frozen=True, slots=True)
class AdherenceAssessments:
    """Adherence of each client; every array has one entry per client.

    Attributes:
        score_low, score_high: mean session ratio over the score window with unknown sessions as 0 and as 1;
            nan where nothing counts.
        attendance_low, attendance_high: share of sessions attended, likewise.
        dose_ratio: completed / prescribed dose of the attended sessions, not capped: above 1 = more than
            asked.
        effort_share: share of the attended sessions that reached their effort, nan where not known.
        n_counted, n_done, n_late, n_not_done, n_unknown, n_pending, n_excused: sessions in the score window;
            late ones were done after the grace days and count as not attended, pending ones are not counted
            yet.
        n_missed_spells: spells of one or two sessions in a row not done, and
        n_interrupted_spells: spells of three or more; an unknown session ends a spell.
        off_plan_score_low, off_plan_score_high: the bounds over the off-plan window.
        off_plan_sessions: sessions counted in it, and
        off_plan_unknown: those of them without a log.
        off_plan_days: its length.
        is_off_plan: upper bound at or below the limit.
        is_unlogged: only the lower bound is.
        n_due_in_silence: sessions due within the last silent_days, and
        is_silent: no post for that long although there were any.
        silent_days: the length that silence was held against.
        method, version: name and version of the rule.
    """

    score_low: Floats
    score_high: Floats
    attendance_low: Floats
    attendance_high: Floats
    dose_ratio: Floats
    effort_share: Floats
    n_counted: Ints
    n_done: Ints
    n_late: Ints
    n_not_done: Ints
    n_unknown: Ints
    n_pending: Ints
    n_excused: Ints
    n_missed_spells: Ints
    n_interrupted_spells: Ints
    off_plan_score_low: Floats
    off_plan_score_high: Floats
    off_plan_sessions: Ints
    off_plan_unknown: Ints
    off_plan_days: Ints
    is_off_plan: Bools
    is_unlogged: Bools
    n_due_in_silence: Ints
    is_silent: Bools
    silent_days: int
    method: str
    version: str


@dataclass(frozen=True, slots=True)
class _Bounds:
    low: Floats
    high: Floats
    n_counted: Ints
    n_unknown: Ints


def assess_adherence(
    sessions: ScheduledSessions,
    *,
    n_clients: int,
    as_of_day: int,
    days_since_post: Floats,
    settings: AdherenceSettings = DEFAULT_SETTINGS,
) -> AdherenceAssessments:
    """Score each client's sessions against what was prescribed for them.

    Args:
        sessions: scheduled sessions of all clients; those due after as_of_day are ignored.
        n_clients: number of clients; client indices run from 0 to n_clients - 1.
        as_of_day: newest day that may be seen.
        days_since_post: (n_clients,) days since the last post of any kind; nan = never posted.
        settings: constants of the rules.

    Returns:
        AdherenceAssessments.

    Raises:
        ValueError: array lengths differ, unknown state, client index out of range, negative amounts.

    Notes:
        The ratio of a session is completed / prescribed volume (reps where there is no load, sets where there
        are no reps), capped at 1. A session without a log is unknown, neither done nor skipped: the score is
        given as a pair of bounds. An unlogged session counts only when its grace days are over.

    Source:
        Terms missed, interrupted, relative dose intensity: Fairman 2020, Med Sci Sports Exerc 52(2):315-322;
        Nilsen 2018, Med Sci Sports Exerc 50(6):1134-1141. Windows and limits: design choice.
    """
    _check(sessions, n_clients, days_since_post)
    age = as_of_day - sessions.due_day
    is_due = age >= 0
    is_unknown = sessions.state == UNKNOWN
    is_pending = is_due & is_unknown & (age < settings.grace_days) & ~sessions.is_excused
    is_counted = is_due & ~is_pending & ~sessions.is_excused
    lag = np.where(sessions.state == DONE, sessions.done_day - sessions.due_day, np.nan)
    is_late = lag > settings.grace_days
    is_attended = (sessions.state == DONE) & ~is_late
    completed, prescribed = _doses(sessions)
    kept_share = np.where(prescribed > 0, np.minimum(session_ratios(completed, prescribed), 1.0), 1.0)
    ratio = np.where(is_attended, kept_share, 0.0)

    def per_client(is_chosen: Bools, weights: Floats | None = None) -> Floats:
        chosen = None if weights is None else weights[is_chosen]
        return np.bincount(sessions.client[is_chosen], chosen, minlength=n_clients).astype(float)

    def count(is_chosen: Bools) -> Ints:
        return per_client(is_chosen).astype(np.int64)

    def bounds(is_chosen: Bools, values: Floats) -> _Bounds:
        n_counted = per_client(is_chosen)
        known = per_client(is_chosen, values)
        unknown = per_client(is_chosen & is_unknown)
        with np.errstate(invalid="ignore"):
            low, high = known / n_counted, (known + unknown) / n_counted
        return _Bounds(low, high, n_counted.astype(np.int64), unknown.astype(np.int64))

    in_score = is_counted & (age < settings.score_days)
    score = bounds(in_score, ratio)
    attendance = bounds(in_score, is_attended.astype(float))
    in_short = is_counted & (age < settings.off_plan_days + settings.grace_days)
    short = bounds(in_short, ratio)
    widened = bounds(is_counted & (age < settings.off_plan_days_widened + settings.grace_days), ratio)
    is_short = short.n_counted >= settings.min_sessions
    low = np.where(is_short, short.low, widened.low)
    high = np.where(is_short, short.high, widened.high)
    n_plan = np.where(is_short, short.n_counted, widened.n_counted)
    is_enough = n_plan >= settings.min_sessions
    limit = settings.off_plan_score + 1e-9
    attended_in_score = in_score & is_attended
    is_effort_known = attended_in_score & ~np.isnan(sessions.has_reached_effort)
    missed, interrupted = _spells(sessions, in_score, n_clients)
    n_due_in_silence = count(is_due & ~sessions.is_excused & (age < settings.silent_days))
    with np.errstate(invalid="ignore", divide="ignore"):
        dose_ratio = per_client(attended_in_score, completed) / per_client(attended_in_score, prescribed)
        effort_share = per_client(is_effort_known, sessions.has_reached_effort) / per_client(is_effort_known)
    return AdherenceAssessments(
        score_low=score.low,
        score_high=score.high,
        attendance_low=attendance.low,
        attendance_high=attendance.high,
        dose_ratio=dose_ratio,
        effort_share=effort_share,
        n_counted=score.n_counted,
        n_done=count(attended_in_score),
        n_late=count(in_score & is_late),
        n_not_done=count(in_score & (sessions.state == NOT_DONE)),
        n_unknown=count(in_score & is_unknown),
        n_pending=count(is_pending),
        n_excused=count(is_due & sessions.is_excused & (age < settings.score_days)),
        n_missed_spells=missed,
        n_interrupted_spells=interrupted,
        off_plan_score_low=low,
        off_plan_score_high=high,
        off_plan_sessions=n_plan,
        off_plan_unknown=np.where(is_short, short.n_unknown, widened.n_unknown),
        off_plan_days=np.where(is_short, settings.off_plan_days, settings.off_plan_days_widened),
        is_off_plan=is_enough & (high <= limit),
        is_unlogged=is_enough & (low <= limit) & (high > limit),
        n_due_in_silence=n_due_in_silence,
        is_silent=(n_due_in_silence > 0) & ~(days_since_post < settings.silent_days),
        silent_days=settings.silent_days,
        method=METHOD,
        version=VERSION,
    )


def session_ratios(completed: Floats, prescribed: Floats) -> Floats:
    """Completed / prescribed, elementwise and not capped; nan where nothing was prescribed.

    >>> session_ratios(np.array([90.0, 130.0, 5.0]), np.array([100.0, 100.0, 0.0]))
    array([0.9, 1.3, nan])
    """
    ratios = np.full(np.shape(prescribed), np.nan)
    np.divide(completed, prescribed, out=ratios, where=prescribed > 0)
    return ratios


def _doses(sessions: ScheduledSessions) -> tuple[Floats, Floats]:
    """Completed and prescribed dose of each session, in the finest measure that the prescription has."""
    has_volume = np.nan_to_num(sessions.prescribed_volume_kg) > 0
    has_reps = np.nan_to_num(sessions.prescribed_reps) > 0
    completed = np.select(
        [has_volume, has_reps],
        [sessions.completed_volume_kg, sessions.completed_reps],
        default=sessions.completed_sets,
    )
    prescribed = np.select(
        [has_volume, has_reps],
        [sessions.prescribed_volume_kg, sessions.prescribed_reps],
        default=sessions.prescribed_sets,
    )
    return np.nan_to_num(completed), np.nan_to_num(prescribed)


def _spells(sessions: ScheduledSessions, is_chosen: Bools, n_clients: int) -> tuple[Ints, Ints]:
    """Number of missed (one or two in a row) and interrupted (three or more) spells per client."""
    order = np.lexsort((sessions.due_day[is_chosen], sessions.client[is_chosen]))
    client = sessions.client[is_chosen][order]
    is_missed = (sessions.state[is_chosen] == NOT_DONE)[order]
    if not is_missed.any():
        none = np.zeros(n_clients, dtype=np.int64)
        return none, none
    is_new_client = np.concatenate([[True], client[1:] != client[:-1]])
    was_missed = np.concatenate([[False], is_missed[:-1]])
    starts = is_missed & (is_new_client | ~was_missed)
    lengths = np.bincount(np.cumsum(starts)[is_missed] - 1)
    spell_client = client[starts]
    missed = np.bincount(spell_client[lengths <= 2], minlength=n_clients)
    interrupted = np.bincount(spell_client[lengths >= 3], minlength=n_clients)
    return missed, interrupted


def _check(sessions: ScheduledSessions, n_clients: int, days_since_post: Floats) -> None:
    n_sessions = len(sessions.client)
    for name in ScheduledSessions.__dataclass_fields__:
        if len(getattr(sessions, name)) != n_sessions:
            raise ValueError(
                f"{name} must have {n_sessions} entries like client, got {len(getattr(sessions, name))}"
            )
    if days_since_post.shape != (n_clients,):
        raise ValueError(f"days_since_post must have {n_clients} entries, got {days_since_post.shape}")
    if n_sessions and not (sessions.client.min() >= 0 and sessions.client.max() < n_clients):
        raise ValueError(f"client must lie in 0 to {n_clients - 1}, got {sessions.client.max()}")
    is_known = np.isin(sessions.state, STATES)
    if not is_known.all():
        raise ValueError(f"state must be one of {', '.join(STATES)}, got {sessions.state[~is_known][0]}")
