"""From set entries to rows: names become rows of the catalogue, and typing errors are held back."""

import uuid
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from coaching.compute.exposure import is_load_to_confirm, is_tempo
from coaching.compute.units import load_kg_of
from coaching.errors import ConflictError, FieldFault, InvalidError
from coaching.models import (
    Client,
    Exercise,
    LoggedSet,
    Measure,
    Prescription,
    ScheduledSession,
    ScheduledStatus,
    Session,
    SetKind,
)
from coaching.models.statements import asked, day_of, insert_rows, uid_of
from coaching.operations.entries import SessionEntry, SetEntry

BEST_OF_DAYS = 84
SHIFTED_BY_AT_MOST_DAYS = 2


@dataclass(frozen=True, slots=True)
class Lookups:
    """Rows that the entries refer to, found in a constant number of queries."""

    exercises: dict[str, Exercise]
    prescriptions: dict[uuid.UUID, Prescription]
    scheduled: dict[uuid.UUID, ScheduledSession]
    unlogged: list[ScheduledSession]
    lifted: dict[int, list[tuple[date, float]]]

    def best_load_kg(self, exercise_id: int, on: date) -> float | None:
        """The lift's heaviest load of the 84 days up to this one, those of the same batch included."""
        first = on - timedelta(days=BEST_OF_DAYS)
        loads = (load_kg for day, load_kg in self.lifted.get(exercise_id, []) if first <= day <= on)
        return max(loads, default=None)

    def scheduled_for(self, entry: SessionEntry, performed_on: date) -> ScheduledSession | None:
        """The scheduled session named by the entry, or else the nearest unlogged one within two days."""
        if entry.scheduled_session_uid is not None:
            named = self.scheduled[entry.scheduled_session_uid]
            if named in self.unlogged:
                self.unlogged.remove(named)
            return named
        near = [
            row for row in self.unlogged if abs((row.due_on - performed_on).days) <= SHIFTED_BY_AT_MOST_DAYS
        ]
        if not near:
            return None
        nearest = min(near, key=lambda row: (abs((row.due_on - performed_on).days), row.due_on))
        self.unlogged.remove(nearest)
        return nearest


def look_up(*, client: Client, entries: Sequence[SessionEntry], edited: Session | None = None) -> Lookups:
    """Find everything the entries name. Raises InvalidError that points at each unknown name."""
    exercises = _exercises(client, {row.exercise_code for entry in entries for row in entry.sets})
    prescriptions = _prescriptions(
        client,
        {row.prescription_uid for entry in entries for row in entry.sets if row.prescription_uid is not None},
    )
    days = [entry.performed_at.astimezone(ZoneInfo(client.zone)).date() for entry in entries]
    scheduled = _scheduled(
        client, {entry.scheduled_session_uid for entry in entries if entry.scheduled_session_uid is not None}
    )
    _check_names(entries, exercises, prescriptions, scheduled)
    return Lookups(
        exercises=exercises,
        prescriptions=prescriptions,
        scheduled=scheduled,
        unlogged=_unlogged(client, days, edited),
        lifted=_lifted(client, exercises, days),
    )


def set_rows(
    *,
    client: Client,
    sessions: Sequence[Session],
    entries: Sequence[SessionEntry],
    lookups: Lookups,
    are_known_to_be_new: bool = False,
) -> list[LoggedSet]:
    """Insert the sets of these sessions. Raises ConflictError when a set's id belongs to another session.

    The rows have no id yet: nothing points at a set by it.
    """
    uids = [row.uid for entry in entries for row in entry.sets]
    if len(set(uids)) != len(uids) or not (are_known_to_be_new or _are_new(client, uids)):
        raise ConflictError("The id of a set is used elsewhere.")
    rows = [
        _set_row(client, session, row, position, lookups)
        for session, entry in zip(sessions, entries, strict=True)
        for position, row in enumerate(entry.sets, start=1)
    ]
    insert_rows(rows)
    return rows


def _are_new(client: Client, uids: Sequence[uuid.UUID]) -> bool:
    return not LoggedSet.objects.filter(practice_id=client.practice_id, uid__in=uids).exists()


def _set_row(client: Client, session: Session, entry: SetEntry, position: int, lookups: Lookups) -> LoggedSet:
    exercise = lookups.exercises[entry.exercise_code]
    load_kg = float(load_kg_of(entry.load_thousandths, entry.load_unit))
    best_kg = lookups.best_load_kg(exercise.id, session.performed_on)
    is_to_confirm = best_kg is not None and is_load_to_confirm(load_kg, best_kg)
    if entry.is_to_confirm is not None:
        is_to_confirm = entry.is_to_confirm
    if entry.kind == SetKind.WORK and not is_to_confirm and load_kg > 0:
        lookups.lifted.setdefault(exercise.id, []).append((session.performed_on, load_kg))
    prescription = lookups.prescriptions.get(entry.prescription_uid) if entry.prescription_uid else None
    return LoggedSet(
        practice_id=client.practice_id,
        uid=entry.uid,
        session=session,
        exercise=exercise,
        prescription=prescription,
        position=position,
        kind=entry.kind,
        side=entry.side,
        load_thousandths=entry.load_thousandths,
        load_unit=entry.load_unit,
        reps=entry.reps,
        duration_s=entry.duration_s,
        rir=entry.rir,
        guessed_rir=entry.guessed_rir,
        guessed_after_reps=entry.guessed_after_reps,
        ended_by=entry.ended_by,
        tempo=entry.tempo,
        rest_s=entry.rest_s,
        follows_position=position - 1 if entry.follows_previous and position > 1 else None,
        is_to_confirm=is_to_confirm,
    )


def _check_names(
    entries: Sequence[SessionEntry],
    exercises: dict[str, Exercise],
    prescriptions: dict[uuid.UUID, Prescription],
    scheduled: dict[uuid.UUID, ScheduledSession],
) -> None:
    faults: list[FieldFault] = []
    for entry in entries:
        if entry.scheduled_session_uid is not None and entry.scheduled_session_uid not in scheduled:
            faults.append(
                FieldFault(("scheduled_session",), "unknown", "There is no such scheduled session.")
            )
        for index, row in enumerate(entry.sets):
            exercise = exercises.get(row.exercise_code)
            if exercise is None:
                faults.append(
                    FieldFault(("sets", index, "exercise"), "unknown", "There is no such exercise.")
                )
            elif (exercise.measure == Measure.DURATION) != (row.duration_s is not None):
                wanted = "duration_s" if exercise.measure == Measure.DURATION else "reps"
                faults.append(
                    FieldFault(("sets", index, wanted), "required", f"This exercise is counted in {wanted}.")
                )
            if row.tempo and not is_tempo(row.tempo):
                detail = "Four figures like 3-1-1-0, X for as fast as possible."
                faults.append(FieldFault(("sets", index, "tempo"), "invalid", detail))
            if row.prescription_uid is not None and row.prescription_uid not in prescriptions:
                faults.append(
                    FieldFault(("sets", index, "prescription"), "unknown", "There is no such prescription.")
                )
    if faults:
        raise InvalidError("Some names are not known.", tuple(faults))


EXERCISES = (
    "SELECT id, code, load_basis, measure, is_one_sided FROM coaching_exercise "
    "WHERE code = ANY(%s) AND (practice_id IS NULL OR practice_id = %s) ORDER BY id"
)
PRESCRIPTIONS = "SELECT id, uid FROM coaching_prescription WHERE practice_id = %s AND uid = ANY(%s)"
SCHEDULED = (
    "SELECT id, uid, due_on, is_deload FROM coaching_scheduledsession "
    "WHERE practice_id = %s AND client_id = %s AND uid = ANY(%s)"
)
UNLOGGED = (
    "SELECT id, uid, due_on, is_deload FROM coaching_scheduledsession s WHERE practice_id = %s "
    "AND client_id = %s AND due_on >= %s AND due_on <= %s AND status = ANY(%s) "
    "AND NOT EXISTS(SELECT 1 FROM coaching_session x WHERE x.scheduled_session_id = s.id "
    "AND x.deleted_at IS NULL AND x.id <> %s) ORDER BY due_on"
)
HEAVIEST = (
    "SELECT exercise_id, day_on, max(best_load_kg) FROM coaching_liftday "
    "WHERE practice_id = %s AND client_id = %s AND exercise_id = ANY(%s) AND day_on >= %s AND day_on <= %s "
    "AND best_load_kg > 0 GROUP BY exercise_id, day_on"
)
NO_SESSION = 0


def _exercises(client: Client, codes: Collection[str]) -> dict[str, Exercise]:
    """What is asked of an exercise here; the rest of its row is left out."""
    names = ("id", "code", "load_basis", "measure", "is_one_sided")  # in the model's order
    rows = asked(EXERCISES, [list(codes), client.practice_id]) if codes else []
    return {row[1]: Exercise.from_db(client._state.db, names, [*row[:4], bool(row[4])]) for row in rows}


def _prescriptions(client: Client, uids: Collection[uuid.UUID]) -> dict[uuid.UUID, Prescription]:
    rows = asked(PRESCRIPTIONS, [client.practice_id, list(uids)]) if uids else []
    return {
        uid_of(uid): Prescription.from_db(client._state.db, ("id", "uid"), [row_id, uid_of(uid)])
        for row_id, uid in rows
    }


def _scheduled(client: Client, uids: Collection[uuid.UUID]) -> dict[uuid.UUID, ScheduledSession]:
    rows = asked(SCHEDULED, [client.practice_id, client.id, list(uids)]) if uids else []
    return {row.uid: row for row in map(partial(_scheduled_row, client), rows)}


def _scheduled_row(client: Client, row: tuple[Any, ...]) -> ScheduledSession:
    row_id, uid, due_on, is_deload = row
    names = ("id", "uid", "due_on", "is_deload")
    values = [row_id, uid_of(uid), day_of(due_on), bool(is_deload)]
    return ScheduledSession.from_db(client._state.db, names, values)


def _unlogged(client: Client, days: Sequence[date], edited: Session | None) -> list[ScheduledSession]:
    """Scheduled sessions near these days without a kept log; the log being edited does not count as one."""
    margin = timedelta(days=SHIFTED_BY_AT_MOST_DAYS)
    open_ones = [ScheduledStatus.PLANNED.value, ScheduledStatus.NOT_DONE.value]
    within = [min(days) - margin, max(days) + margin, open_ones]
    besides = edited.id if edited is not None else NO_SESSION
    return [
        _scheduled_row(client, row)
        for row in asked(UNLOGGED, [client.practice_id, client.id, *within, besides])
    ]


def _lifted(
    client: Client, exercises: dict[str, Exercise], days: Sequence[date]
) -> dict[int, list[tuple[date, float]]]:
    """The heaviest confirmed work load of each lift on each day that may count for these sessions."""
    if not exercises:
        return {}
    found: dict[int, list[tuple[date, float]]] = {}
    within = [min(days) - timedelta(days=BEST_OF_DAYS), max(days)]
    ids = [row.id for row in exercises.values()]
    for exercise_id, day, load_kg in asked(HEAVIEST, [client.practice_id, client.id, ids, *within]):
        found.setdefault(exercise_id, []).append((day_of(day), load_kg))
    return found
