"""Scheduled sessions as they are judged: what each one counts as, and its share of what was prescribed."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Texts = NDArray[np.str_]

DONE = "done"
NOT_DONE = "not_done"
UNKNOWN = "unknown"
STATES = (DONE, NOT_DONE, UNKNOWN)

_AMOUNTS = (
    "prescribed_sets", "completed_sets", "prescribed_reps", "completed_reps", "prescribed_volume_kg",
    "completed_volume_kg",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class AdherenceSettings:
    """Constants of the adherence rules; all are design choices.

    Attributes:
        score_days: length of the score window.
        off_plan_days: length of the window of off_plan and unlogged, and
        off_plan_days_widened: used instead where the shorter one holds too few sessions.
        off_plan_score: score at or below which a client is off plan.
        min_sessions: counted sessions needed in that window.
        min_unlogged: sessions without a log from which a client is unlogged; a single one is asked after only
            where no other session of the window came to more than off_plan_score.
        grace_days: a session may be done this many days late, and an unlogged one counts only after them.
        load_tolerance: share by which the load may differ before a session was modified or over: equipment
            comes in steps, and plans and logs in pounds and kilograms.
        silent_days: days without any post from which a client with sessions scheduled is silent.
    """

    score_days: int = 28
    off_plan_days: int = 10
    off_plan_days_widened: int = 21
    off_plan_score: float = 0.6
    min_sessions: int = 3
    min_unlogged: int = 2
    grace_days: int = 2
    load_tolerance: float = 0.025
    silent_days: int = 7


DEFAULT_SETTINGS = AdherenceSettings()


@dataclass(frozen=True, slots=True, eq=False)
class ScheduledSessions:
    """Sessions on the clients' calendars, one entry per session, in any order.

    Attributes:
        client: index of the client, 0 and up.
        due_day: day number of the local date it was scheduled for.
        state: done, not_done (said by client or coach) or unknown (no log).
        done_day: day number it was done on; nan where it was not.
        prescribed_sets, completed_sets: work sets.
        prescribed_reps, completed_reps: reps; seconds where all of the session is timed.
        prescribed_volume_kg, completed_volume_kg: sum of reps x load; nan or 0 where the work has no load, or
            where the loads are not all known.
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

    @property
    def days_late(self) -> Floats:
        """Days between due and done; nan where a session was not done."""
        return np.where(self.state == DONE, self.done_day - self.due_day, np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class JudgedSessions:
    """What each session counts as on the day of the score; every array has one entry per session.

    Attributes:
        age: days from its due date to the day of the score; below 0 = not due yet.
        is_due: due by then.
        is_unknown: nobody has logged it, nor said that it was not done.
        is_pending: unknown, but still within its grace days.
        is_counted: due, neither pending nor excused.
        is_late: done after the grace days.
        is_attended: done, and not late.
        dose_ratio: completed / prescribed dose in the finest measure that is known of both, not capped; nan
            where nothing was prescribed.
        ratio: the same, at most 1, 1 where nothing was prescribed, and 0 where not attended.
    """

    age: Ints
    is_due: Bools
    is_unknown: Bools
    is_pending: Bools
    is_counted: Bools
    is_late: Bools
    is_attended: Bools
    dose_ratio: Floats
    ratio: Floats


def session_ratios(completed: Floats, prescribed: Floats) -> Floats:
    """Divide what was completed by what was prescribed.

    Args:
        completed, prescribed: one shape, one unit, 0 or more; nan = not known, which gives nan.

    Returns:
        Completed / prescribed, not capped; nan where nothing was prescribed.

    Raises:
        ValueError: shapes differ.

    Source:
        Relative dose intensity: Fairman 2020, Med Sci Sports Exerc 52(2):315-322. The mean of such ratios is
        not the ratio of the means.

    >>> session_ratios(np.array([90.0, 130.0, 5.0]), np.array([100.0, 100.0, 0.0]))
    array([0.9, 1.3, nan])
    """
    if completed.shape != prescribed.shape:
        raise ValueError(
            f"completed must have the shape of prescribed {prescribed.shape}, got {completed.shape}"
        )
    ratios = np.full(prescribed.shape, np.nan)
    np.divide(completed, prescribed, out=ratios, where=prescribed > 0)
    return ratios


def judge_sessions(
    sessions: ScheduledSessions, *, as_of_day: int, settings: AdherenceSettings = DEFAULT_SETTINGS
) -> JudgedSessions:
    """Say what each session counts as on one day.

    Args:
        sessions: scheduled sessions.
        as_of_day: newest day that may be seen.
        settings: constants of the rules.

    Returns:
        JudgedSessions.

    Raises:
        ValueError: array lengths differ, unknown state, negative amounts.

    Notes:
        The dose is volume, reps where a load is not known, sets where there are no reps. What was prescribed
        is what stood on the calendar for that date: a coach who lowers it beforehand lowers the denominator.

    Source:
        Relative dose intensity: Fairman 2020, Med Sci Sports Exerc 52(2):315-322. Grace days, and the cap of
        a session at 1: design choice.

    >>> asked = np.array([60.0, 60.0])
    >>> sessions = ScheduledSessions(
    ...     client=np.zeros(2, dtype=int), due_day=np.array([5, 9]), state=np.array(["done", "unknown"]),
    ...     done_day=np.array([6, np.nan]), prescribed_sets=asked, completed_sets=asked,
    ...     prescribed_reps=asked, completed_reps=asked / 2, prescribed_volume_kg=np.nan * asked,
    ...     completed_volume_kg=np.nan * asked, has_reached_effort=np.nan * asked,
    ...     is_excused=np.zeros(2, dtype=bool))
    >>> judged = judge_sessions(sessions, as_of_day=9)
    >>> judged.ratio, judged.is_pending
    (array([0.5, 0. ]), array([False,  True]))
    """
    _check(sessions)
    age = as_of_day - sessions.due_day
    is_due = age >= 0
    is_unknown = sessions.state == UNKNOWN
    is_pending = is_due & is_unknown & (age < settings.grace_days) & ~sessions.is_excused
    is_late = sessions.days_late > settings.grace_days
    is_attended = (sessions.state == DONE) & ~is_late
    dose_ratio = session_ratios(*_doses(sessions))
    kept_share = np.where(np.isnan(dose_ratio), 1.0, np.minimum(dose_ratio, 1.0))
    return JudgedSessions(
        age=age,
        is_due=is_due,
        is_unknown=is_unknown,
        is_pending=is_pending,
        is_counted=is_due & ~is_pending & ~sessions.is_excused,
        is_late=is_late,
        is_attended=is_attended,
        dose_ratio=dose_ratio,
        ratio=np.where(is_attended, kept_share, 0.0),
    )


def _doses(sessions: ScheduledSessions) -> tuple[Floats, Floats]:
    """Completed and prescribed dose of each session: volume, or else reps, or else sets; never nan."""
    has_volume = (sessions.prescribed_volume_kg > 0) & ~np.isnan(sessions.completed_volume_kg)
    has_reps = sessions.prescribed_reps > 0
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


def _check(sessions: ScheduledSessions) -> None:
    n_sessions = len(sessions.client)
    for name in ScheduledSessions.__dataclass_fields__:
        if len(getattr(sessions, name)) != n_sessions:
            raise ValueError(
                f"{name} must have {n_sessions} entries like client, got {len(getattr(sessions, name))}"
            )
    for name in _AMOUNTS:
        amounts = getattr(sessions, name)
        if (amounts < 0).any():
            raise ValueError(f"{name} must be 0 or more, or nan, got {float(amounts[amounts < 0][0])}")
    is_known = np.isin(sessions.state, STATES)
    if not is_known.all():
        raise ValueError(f"state must be one of {', '.join(STATES)}, got {sessions.state[~is_known][0]}")
