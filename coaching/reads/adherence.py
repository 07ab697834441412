"""Scheduled sessions held against what was logged for them, for a night's chunk and for one calendar."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from coaching.compute.adherence_parts import session_parts
from coaching.compute.scheduled_sessions import DONE, NOT_DONE, UNKNOWN, ScheduledSessions
from coaching.models import ScheduledSession, ScheduledStatus, Session
from coaching.reads.session_doses import SessionDoses, session_doses

EXCUSED = {ScheduledStatus.CANCELLED, ScheduledStatus.CLINICIAN_STOP}

Floats = NDArray[np.float64]


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


@dataclass(frozen=True, slots=True)
class _Log:
    done_on: date
    work_sets: int
    work_reps: int


def scheduled_against_logs(
    rows: Sequence[ScheduledSession],
    *,
    client_rows: Mapping[int, int],
    last_day: date,
    in_full_from: date = date.min,
) -> ScheduledSessions:
    """Each scheduled session with what was logged for it up to `last_day`; later logs do not exist yet.

    The loads and efforts of sessions due before `in_full_from` are not looked up.
    """
    logs = _logs(rows, last_day)
    done = [logs.get(row.id) for row in rows]
    doses = _doses(rows, last_day, in_full_from)
    is_timed = doses.prescribed_hold_s > 0
    return ScheduledSessions(
        client=np.array([client_rows[row.client_id] for row in rows], dtype=np.int64),
        due_day=np.array([row.due_on.toordinal() for row in rows], dtype=np.int64),
        state=np.array([_state(row, log) for row, log in zip(rows, done, strict=True)], dtype=np.str_),
        done_day=_floats(log.done_on.toordinal() if log else np.nan for log in done),
        prescribed_sets=_floats(row.prescribed_sets for row in rows),
        completed_sets=_floats(log.work_sets if log else 0 for log in done),
        prescribed_reps=np.where(
            is_timed, doses.prescribed_hold_s, _floats(row.prescribed_reps for row in rows)
        ),
        completed_reps=np.where(
            is_timed, doses.completed_hold_s, _floats(log.work_reps if log else 0 for log in done)
        ),
        prescribed_volume_kg=doses.prescribed_volume_kg,
        completed_volume_kg=doses.completed_volume_kg,
        has_reached_effort=doses.has_reached_effort,
        is_excused=np.array([row.status in EXCUSED for row in rows], dtype=bool),
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


def _logs(rows: Sequence[ScheduledSession], last_day: date) -> dict[int, _Log]:
    """Scheduled session -> its log; several make one, from the first day on."""
    found: dict[int, _Log] = {}
    logs = Session.objects.kept().filter(
        scheduled_session__in=[row.id for row in rows], performed_on__lte=last_day
    )
    for scheduled_id, day, sets, reps in logs.values_list(
        "scheduled_session_id", "performed_on", "work_sets", "work_reps"
    ):
        if scheduled_id is not None:
            known = found.get(scheduled_id, _Log(day, 0, 0))
            found[scheduled_id] = _Log(
                min(known.done_on, day), known.work_sets + sets, known.work_reps + reps
            )
    return found


def _doses(rows: Sequence[ScheduledSession], last_day: date, in_full_from: date) -> SessionDoses:
    """Doses of every row, nan before `in_full_from`."""
    places = np.array([place for place, row in enumerate(rows) if row.due_on >= in_full_from], dtype=np.int64)
    found = session_doses([rows[place] for place in places], last_day=last_day)

    def spread(values: Floats) -> Floats:
        out = np.full(len(rows), np.nan)
        out[places] = values
        return out

    return SessionDoses(
        prescribed_volume_kg=spread(found.prescribed_volume_kg),
        completed_volume_kg=spread(found.completed_volume_kg),
        prescribed_hold_s=spread(found.prescribed_hold_s),
        completed_hold_s=spread(found.completed_hold_s),
        has_reached_effort=spread(found.has_reached_effort),
    )


def _state(row: ScheduledSession, log: _Log | None) -> str:
    if log is not None:
        return DONE
    return NOT_DONE if row.status == ScheduledStatus.NOT_DONE else UNKNOWN


def _floats(values: Iterable[float]) -> Floats:
    return np.array(list(values), dtype=float)


def _share(value: float) -> float | None:
    return None if np.isnan(value) else round(float(value), 6)


def _yes_or_no(value: float) -> bool | None:
    return None if np.isnan(value) else bool(value)
