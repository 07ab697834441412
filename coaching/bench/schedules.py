"""Generated clients with a plan: who keeps to it, who halves what they do, how, and from which day."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coaching.compute.scheduled_sessions import DONE, NOT_DONE, UNKNOWN, ScheduledSessions

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Texts = NDArray[np.str_]

N_DAYS = 280
STEADY, LATE, HOLIDAY = "steady", "a_day_late", "holiday_said"
SKIPS, UNLOGGED, HALF_SETS, HALF_REPS = "half_skipped", "half_unlogged", "half_sets", "half_reps"
QUIET_PLANS = (STEADY, LATE, HOLIDAY)
HALVINGS = (SKIPS, UNLOGGED, HALF_SETS, HALF_REPS)
PLAN_KINDS = (*QUIET_PLANS, *HALVINGS)

WEEKDAYS = ((0, 3), (0, 2, 4), (0, 1, 3, 5))
MISSED_SHARE = (0.10, 0.20)
SAID_SHARE = 0.5  # of the missed ones; the others are just not logged
HOLIDAY_DAYS = 14


@dataclass(frozen=True, slots=True)
class Schedules:
    """Sessions of clients of one kind as they came out in the end, and the day of the change.

    Attributes:
        kind: one of PLAN_KINDS.
        sessions: with what became of each; amounts in sets and reps, no loads.
        sessions_a_week: of each client.
        change_day: day number from which a client halves what they do; nan = never.
    """

    kind: str
    sessions: ScheduledSessions
    sessions_a_week: Ints
    change_day: Floats

    @property
    def n_clients(self) -> int:
        return len(self.sessions_a_week)


def generate_schedules(kind: str, n_clients: int, seed: int) -> Schedules:
    """Two to four sessions a week, 10 to 20 % of them missed, half of those said so.

    Who halves does every other session from the change on, or half of each; the usual misses go on. Who is
    always a day late is merely that, and misses none.
    """
    rng = np.random.default_rng([seed, 200 + PLAN_KINDS.index(kind)])
    client, due_day = _calendar(rng, n_clients)
    change = rng.integers(100, N_DAYS - 90, n_clients).astype(float)
    days_in = due_day - change[client]
    is_missed = (rng.random(len(client)) < rng.uniform(*MISSED_SHARE, n_clients)[client]) & (kind != LATE)
    is_said = rng.random(len(client)) < SAID_SHARE
    state = np.where(is_missed, np.where(is_said, NOT_DONE, UNKNOWN), DONE)
    if kind in (SKIPS, UNLOGGED):
        is_dropped = (days_in >= 0) & _is_every_other(client, days_in, rng.integers(0, 2, n_clients))
        state = np.where(is_dropped, NOT_DONE if kind == SKIPS else UNKNOWN, state)
    sets, reps = rng.integers(9, 19, n_clients)[client], rng.integers(6, 11, n_clients)[client]
    is_halved = days_in >= 0
    done_sets = _halved(sets, is_halved & (kind == HALF_SETS))
    done_reps = _halved(reps, is_halved & (kind == HALF_REPS))
    nothing = np.full(len(client), np.nan)
    return Schedules(
        kind=kind,
        sessions=ScheduledSessions(
            client=client,
            due_day=due_day,
            state=state,
            done_day=np.where(state == DONE, due_day + float(kind == LATE), np.nan),
            prescribed_sets=sets.astype(float),
            completed_sets=np.where(state == DONE, done_sets, 0.0),
            prescribed_reps=(sets * reps).astype(float),
            completed_reps=np.where(state == DONE, done_sets * done_reps, 0.0),
            prescribed_volume_kg=nothing,
            completed_volume_kg=nothing,
            has_reached_effort=nothing,
            is_excused=(kind == HOLIDAY) & (days_in >= 0) & (days_in < HOLIDAY_DAYS),
        ),
        sessions_a_week=np.bincount(client, minlength=n_clients) * 7 // N_DAYS,
        change_day=change if kind in HALVINGS else np.full(n_clients, np.nan),
    )


def as_known(sessions: ScheduledSessions, last_day: int, look_back_days: int) -> ScheduledSessions:
    """The newest sessions as the night after `last_day` knows them: a log yet to come is unknown."""
    is_seen = (sessions.due_day <= last_day) & (sessions.due_day > last_day - look_back_days)
    seen = ScheduledSessions(
        **{name: getattr(sessions, name)[is_seen] for name in ScheduledSessions.__dataclass_fields__}
    )
    is_yet_to_come = seen.done_day > last_day
    return replace(
        seen,
        state=np.where(is_yet_to_come, UNKNOWN, seen.state),
        done_day=np.where(is_yet_to_come, np.nan, seen.done_day),
    )


def days_since_log(schedules: Schedules, last_day: int) -> Floats:
    """Days since each client's last log; nan = none yet."""
    done_day = schedules.sessions.done_day
    is_logged = done_day <= last_day
    newest = np.full(schedules.n_clients, -np.inf)
    np.maximum.at(newest, schedules.sessions.client[is_logged], done_day[is_logged])
    return np.where(np.isfinite(newest), last_day - newest, np.nan)


def _calendar(rng: np.random.Generator, n_clients: int) -> tuple[Ints, Ints]:
    """Client and due day of every session, in order; two, three or four a week."""
    n_weeks = N_DAYS // 7
    pattern, shift = rng.integers(0, len(WEEKDAYS), n_clients), rng.integers(0, 7, n_clients)
    is_due = np.zeros((n_clients, 7), bool)
    for row in range(n_clients):
        is_due[row, (np.array(WEEKDAYS[pattern[row]]) + shift[row]) % 7] = True
    client, due_day = np.nonzero(np.tile(is_due, (1, n_weeks)))
    return client, due_day


def _is_every_other(client: Ints, days_in: Floats, first: Ints) -> Bools:
    """Every other session of each client from the change on, beginning with the first or the second."""
    is_after = days_in >= 0
    number = np.cumsum(is_after)
    before = np.searchsorted(client, np.arange(len(first)))
    started = np.concatenate([[0], number])[before]
    is_odd: Bools = (number - started[client] + first[client]) % 2 == 1
    return is_odd


def _halved(amounts: Ints, is_halved: Bools) -> Ints:
    """Half of whole amounts, rounded up."""
    return np.where(is_halved, (amounts + 1) // 2, amounts)
