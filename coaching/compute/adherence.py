"""What each client did against what was prescribed, with bounds for what nobody logged."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.scheduled_sessions import (
    DEFAULT_SETTINGS,
    NOT_DONE,
    AdherenceSettings,
    JudgedSessions,
    ScheduledSessions,
    judge_sessions,
    session_ratios,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

METHOD = "bounded_dose_ratio"
VERSION = "2"


@dataclass(frozen=True, slots=True, eq=False)
class AdherenceAssessments:
    """Adherence of each client; every array has one entry per client.

    Attributes:
        score_low, score_high: mean session ratio over the score window with unknown sessions as 0 and as 1;
            nan where nothing counts.
        attendance_low, attendance_high: share of sessions attended, likewise.
        dose_ratio: mean completed / prescribed dose of the attended sessions, not capped: above 1 = more than
            asked.
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
        is_unlogged: only the lower bound is, for want of logs (min_unlogged).
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


@dataclass(frozen=True, slots=True, eq=False)
class _Bounds:
    """Mean of each client with unknown sessions as 0 and as 1."""

    low: Floats
    high: Floats
    n_counted: Ints
    n_unknown: Ints


@dataclass(frozen=True, slots=True, eq=False)
class _PerClient:
    """Adds up sessions for each client."""

    client: Ints
    n_clients: int

    def total(self, is_chosen: Bools, weights: Floats | None = None) -> Floats:
        chosen = None if weights is None else weights[is_chosen]
        return np.bincount(self.client[is_chosen], chosen, minlength=self.n_clients).astype(float)

    def count(self, is_chosen: Bools) -> Ints:
        return self.total(is_chosen).astype(np.int64)

    def mean(self, is_chosen: Bools, values: Floats) -> Floats:
        return session_ratios(self.total(is_chosen, values), self.total(is_chosen))

    def bounds(self, is_chosen: Bools, is_unknown: Bools, values: Floats) -> _Bounds:
        """Bounds where `values` are 0 for the unknown."""
        return _Bounds(
            low=self.mean(is_chosen, values),
            high=self.mean(is_chosen, np.where(is_unknown, 1.0, values)),
            n_counted=self.count(is_chosen),
            n_unknown=self.count(is_chosen & is_unknown),
        )


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
        The ratio of a session is completed / prescribed dose, capped at 1 (judge_sessions). A session without
        a log is unknown, neither done nor skipped: the score is given as a pair of bounds. It counts only
        when its grace days are over.

    Source:
        Terms missed, interrupted, relative dose intensity: Fairman 2020, Med Sci Sports Exerc 52(2):315-322;
        Nilsen 2018, Med Sci Sports Exerc 50(6):1134-1141. Windows and limits: design choice.

    >>> asked = np.array([100.0, 100.0, 100.0])
    >>> sessions = ScheduledSessions(
    ...     client=np.zeros(3, dtype=int), due_day=np.array([1, 3, 5]),
    ...     state=np.array(["done", "unknown", "not_done"]), done_day=np.array([1, np.nan, np.nan]),
    ...     prescribed_sets=asked, completed_sets=asked, prescribed_reps=asked, completed_reps=asked,
    ...     prescribed_volume_kg=asked, completed_volume_kg=np.array([90.0, np.nan, np.nan]),
    ...     has_reached_effort=np.full(3, np.nan), is_excused=np.zeros(3, dtype=bool))
    >>> found = assess_adherence(sessions, n_clients=1, as_of_day=9, days_since_post=np.array([4.0]))
    >>> found.score_low.round(2), found.score_high.round(2)
    (array([0.3]), array([0.63]))
    """
    judged = judge_sessions(sessions, as_of_day=as_of_day, settings=settings)
    _check(sessions, n_clients, days_since_post)
    clients = _PerClient(sessions.client, n_clients)
    in_score = judged.is_counted & (judged.age < settings.score_days)
    score = clients.bounds(in_score, judged.is_unknown, judged.ratio)
    attendance = clients.bounds(in_score, judged.is_unknown, judged.is_attended.astype(float))
    plan_days = _off_plan_days(clients, judged, settings)
    in_plan = judged.is_counted & (judged.age < plan_days[sessions.client])
    plan = clients.bounds(in_plan, judged.is_unknown, judged.ratio)
    limit = settings.off_plan_score + 1e-9
    is_low = (plan.n_counted >= settings.min_sessions) & (plan.low <= limit)
    n_kept = clients.count(in_plan & (judged.ratio > limit))
    is_log_missed = (plan.n_unknown >= settings.min_unlogged) | (n_kept == 0)
    attended = in_score & judged.is_attended
    missed, interrupted = _spells(sessions, in_score, n_clients)
    in_silence = judged.is_due & ~sessions.is_excused & (judged.age < settings.silent_days)
    n_due_in_silence = clients.count(in_silence)
    return AdherenceAssessments(
        score_low=score.low,
        score_high=score.high,
        attendance_low=attendance.low,
        attendance_high=attendance.high,
        dose_ratio=clients.mean(attended & ~np.isnan(judged.dose_ratio), judged.dose_ratio),
        n_counted=score.n_counted,
        n_done=clients.count(attended),
        n_late=clients.count(in_score & judged.is_late),
        n_not_done=clients.count(in_score & (sessions.state == NOT_DONE)),
        n_unknown=score.n_unknown,
        n_pending=clients.count(judged.is_pending),
        n_excused=clients.count(judged.is_due & sessions.is_excused & (judged.age < settings.score_days)),
        n_missed_spells=missed,
        n_interrupted_spells=interrupted,
        off_plan_score_low=plan.low,
        off_plan_score_high=plan.high,
        off_plan_sessions=plan.n_counted,
        off_plan_unknown=plan.n_unknown,
        off_plan_days=plan_days,
        is_off_plan=is_low & (plan.high <= limit),
        is_unlogged=is_low & (plan.high > limit) & is_log_missed,
        n_due_in_silence=n_due_in_silence,
        is_silent=(n_due_in_silence > 0) & ~(days_since_post < settings.silent_days),
        silent_days=settings.silent_days,
        method=METHOD,
        version=VERSION,
    )


def _off_plan_days(clients: _PerClient, judged: JudgedSessions, settings: AdherenceSettings) -> Ints:
    """Length of each client's off-plan window: the wider one where the other holds too few sessions."""
    n_sessions = clients.count(judged.is_counted & (judged.age < settings.off_plan_days))
    is_enough = n_sessions >= settings.min_sessions
    return np.where(is_enough, settings.off_plan_days, settings.off_plan_days_widened)


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
    if days_since_post.shape != (n_clients,):
        raise ValueError(f"days_since_post must have {n_clients} entries, got {days_since_post.shape}")
    is_outside = (sessions.client < 0) | (sessions.client >= n_clients)
    if is_outside.any():
        raise ValueError(f"client must lie in 0 to {n_clients - 1}, got {sessions.client[is_outside][0]}")
