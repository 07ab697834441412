"""From set entries to rows: names become rows of the catalogue, and typing errors are held back."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef

from coaching.compute.exposure import is_load_to_confirm, is_tempo
from coaching.compute.units import load_kg_of
from coaching.errors import ConflictError, FieldFault, InvalidError
from coaching.models import (
    Client,
    Exercise,
    LiftDay,
    LoggedSet,
    Measure,
    Prescription,
    ScheduledSession,
    ScheduledStatus,
    Session,
    SetKind,
)
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
    codes = {row.exercise_code for entry in entries for row in entry.sets}
    exercises = {
        row.code: row for row in Exercise.objects.known_to(client.practice_id).filter(code__in=codes)
    }
    prescription_uids = {
        row.prescription_uid for entry in entries for row in entry.sets if row.prescription_uid is not None
    }
    prescriptions = {
        row.uid: row
        for row in Prescription.objects.filter(practice_id=client.practice_id, uid__in=prescription_uids)
    }
    days = [entry.performed_at.astimezone(ZoneInfo(client.zone)).date() for entry in entries]
    scheduled_uids = {
        entry.scheduled_session_uid for entry in entries if entry.scheduled_session_uid is not None
    }
    scheduled = {
        row.uid: row
        for row in ScheduledSession.objects.filter(
            practice_id=client.practice_id, client=client, uid__in=scheduled_uids
        )
    }
    _check_names(entries, exercises, prescriptions, scheduled)
    return Lookups(
        exercises=exercises,
        prescriptions=prescriptions,
        scheduled=scheduled,
        unlogged=_unlogged(client, days, edited),
        lifted=_lifted(client, exercises, days),
    )


def set_rows(
    *, client: Client, sessions: Sequence[Session], entries: Sequence[SessionEntry], lookups: Lookups
) -> None:
    """Insert the sets of these sessions. Raises ConflictError when a set's id belongs to another session."""
    uids = [row.uid for entry in entries for row in entry.sets]
    taken = LoggedSet.objects.filter(practice_id=client.practice_id, uid__in=uids)
    if len(set(uids)) != len(uids) or taken.exists():
        raise ConflictError("The id of a set is used elsewhere.")
    LoggedSet.objects.bulk_create(
        _set_row(client, session, row, position, lookups)
        for session, entry in zip(sessions, entries, strict=True)
        for position, row in enumerate(entry.sets, start=1)
    )


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


def _unlogged(client: Client, days: Sequence[date], edited: Session | None) -> list[ScheduledSession]:
    """Scheduled sessions near these days without a kept log; the log being edited does not count as one."""
    margin = timedelta(days=SHIFTED_BY_AT_MOST_DAYS)
    logs = Session.objects.filter(scheduled_session=OuterRef("pk")).kept()
    if edited is not None:
        logs = logs.exclude(id=edited.id)
    rows = ScheduledSession.objects.filter(
        ~Exists(logs),
        client=client,
        due_on__gte=min(days) - margin,
        due_on__lte=max(days) + margin,
        status__in=[ScheduledStatus.PLANNED, ScheduledStatus.NOT_DONE],
    )
    return list(rows.order_by("due_on"))


def _lifted(
    client: Client, exercises: dict[str, Exercise], days: Sequence[date]
) -> dict[int, list[tuple[date, float]]]:
    """The heaviest confirmed work load of each lift on each day that may count for these sessions."""
    found: dict[int, list[tuple[date, float]]] = {}
    rows = LiftDay.objects.filter(
        client=client,
        exercise__in=[row.id for row in exercises.values()],
        day_on__gte=min(days) - timedelta(days=BEST_OF_DAYS),
        day_on__lte=max(days),
        best_load_kg__gt=0,
    ).values_list("exercise_id", "day_on", "best_load_kg")
    for exercise_id, day, load_kg in rows:
        found.setdefault(exercise_id, []).append((day, load_kg or 0.0))
    return found
