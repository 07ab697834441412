"""Scheduled sessions held against what was logged for them, for a night's chunk and for one calendar."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from coaching.compute.adherence_parts import session_parts
from coaching.compute.scheduled_sessions import DONE, NOT_DONE, UNKNOWN, ScheduledSessions
from coaching.models import ScheduledSession
from coaching.reads.columns import places_of
from coaching.reads.scheduled_rows import EXCUSED, ScheduledRows
from coaching.reads.session_doses import session_doses
from coaching.reads.session_logs import session_logs


@dataclass(frozen=True, slots=True)
class SessionAdherence:
    """What one scheduled session came to; shares of what was prescribed, not capped, None = not known."""

    state: str
    is_attended: bool | None
    sets: float | None
    reps: float | None
    load: float | None
    has_reached_effort: bool | None
    is_modified: bool
    is_over: bool


@dataclass(frozen=True, slots=True)
class HeldSession:
    """A scheduled session, and what it came to; None where it is excused, or neither due nor logged yet."""

    session: ScheduledSession
    adherence: SessionAdherence | None


def scheduled_against_logs(
    rows: Sequence[ScheduledSession], *, client_rows: Mapping[int, int], last_day: date
) -> ScheduledSessions:
    """Each scheduled session with what was logged for it up to `last_day`; later logs do not exist yet."""
    return rows_against_logs(ScheduledRows.of(rows), client_rows=client_rows, last_day=last_day)


def rows_against_logs(
    rows: ScheduledRows, *, client_rows: Mapping[int, int], last_day: date
) -> ScheduledSessions:
    """The same of sessions that came as arrays; at most four queries."""
    logs = session_logs(rows, last_day=last_day)
    doses = session_doses(rows, logs=logs)
    is_timed = doses.prescribed_hold_s > 0
    is_logged = ~np.isnan(logs.done_day)
    return ScheduledSessions(
        client=places_of(rows.client_id, client_rows),
        due_day=rows.due_day,
        state=np.select([is_logged, rows.is_said_not_done], [DONE, NOT_DONE], UNKNOWN),
        done_day=logs.done_day,
        prescribed_sets=rows.prescribed_sets.astype(float),
        completed_sets=logs.work_sets,
        prescribed_reps=np.where(is_timed, doses.prescribed_hold_s, rows.prescribed_reps),
        completed_reps=np.where(is_timed, doses.completed_hold_s, logs.work_reps),
        prescribed_volume_kg=doses.prescribed_volume_kg,
        completed_volume_kg=doses.completed_volume_kg,
        has_reached_effort=doses.has_reached_effort,
        is_excused=rows.is_excused,
    )


def held_sessions(rows: Sequence[ScheduledSession], *, today: date) -> list[HeldSession]:
    """One client's scheduled sessions with what each came to by today; the number of queries is constant."""
    scheduled = scheduled_against_logs(rows, client_rows={row.client_id: 0 for row in rows}, last_day=today)
    parts = session_parts(scheduled, as_of_day=today.toordinal())
    held = []
    for place, row in enumerate(rows):
        state = str(scheduled.state[place])
        is_open = row.due_on > today and state == UNKNOWN
        adherence = SessionAdherence(
            state=state,
            is_attended=_yes_or_no(parts.attended[place]),
            sets=_share(parts.sets[place]),
            reps=_share(parts.reps[place]),
            load=_share(parts.load[place]),
            has_reached_effort=_yes_or_no(parts.effort[place]),
            is_modified=bool(parts.is_modified[place]),
            is_over=bool(parts.is_over[place]),
        )
        held.append(HeldSession(row, None if is_open or row.status in EXCUSED else adherence))
    return held


def _share(value: float) -> float | None:
    return None if np.isnan(value) else round(float(value), 6)


def _yes_or_no(value: float) -> bool | None:
    return None if np.isnan(value) else bool(value)
