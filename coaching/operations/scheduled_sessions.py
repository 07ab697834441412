"""Changes to a client's calendar: moved, cancelled, stopped, not done."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from coaching.compute.local_days import local_date_of
from coaching.errors import ConflictError, FieldFault, ForbiddenError, InvalidError
from coaching.models import Actor, Client, ScheduledSession, ScheduledStatus, Session
from coaching.operations.assignment_checks import check_no_red_flag
from coaching.operations.audit import record_change, record_reads
from coaching.operations.rescoring import ask_for_rescoring
from coaching.operations.standing import check_may_process
from coaching.operations.versions import check_version
from coaching.reads.adherence import HeldSession
from coaching.reads.assignments import calendar_of, held_session_of, scheduled_session_of
from coaching.reads.clients import client_for
from coaching.reads.next_load import NextSession, next_session


@dataclass(frozen=True, slots=True)
class CalendarChange:
    """None leaves as it is."""

    due_on: date | None = None
    status: str | None = None


def read_calendar(
    *, actor: Actor, client_uid: uuid.UUID, from_on: date, until_on: date, now: datetime
) -> list[HeldSession]:
    """The client's calendar of these days, the reading audited. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="scheduled_session", now=now)
    return calendar_of(client, from_on, until_on, today=local_date_of(now, client.zone))


def read_scheduled_session(
    *, actor: Actor, client_uid: uuid.UUID, scheduled_uid: uuid.UUID, now: datetime
) -> HeldSession:
    """One scheduled session with its content, the reading audited. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    found = held_session_of(client, scheduled_uid, today=local_date_of(now, client.zone))
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="scheduled_session", now=now)
    return found


def read_next_session(
    *, actor: Actor, client_uid: uuid.UUID, scheduled_uid: uuid.UUID, now: datetime
) -> NextSession:
    """What to do in a scheduled session, as of today, the reading audited. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    scheduled = scheduled_session_of(client, scheduled_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="scheduled_session", now=now)
    return next_session(client=client, scheduled=scheduled, today=local_date_of(now, client.zone))


@transaction.atomic
def change_scheduled_session(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    scheduled_uid: uuid.UUID,
    change: CalendarChange,
    expected_version: int,
    now: datetime,
) -> HeldSession:
    """Move a session or say what became of it; a client may only say that it was not done.

    Raises NotFoundError, ForbiddenError, InvalidError, and ConflictError where a log or a
    standing red flag speaks against it.
    """
    client = client_for(actor, client_uid)
    seen = scheduled_session_of(client, scheduled_uid)
    if not actor.is_coach and change != CalendarChange(status=ScheduledStatus.NOT_DONE):
        raise ForbiddenError("A client may only say that a session was not done.")
    check_may_process(client)
    row = ScheduledSession.objects.select_for_update().select_related("assignment").get(id=seen.id)
    check_version(row, expected_version)
    due_on, status = change.due_on or row.due_on, change.status or row.status
    if due_on != row.due_on:
        _check_move(row, due_on)
    if status != row.status:
        _check_status(client, row, status)
    if (due_on, status) != (row.due_on, row.status):
        _store_change(actor, client, row, due_on, status, now)
    return held_session_of(client, scheduled_uid, today=local_date_of(now, client.zone))


def _check_status(client: Client, row: ScheduledSession, status: str) -> None:
    if status == ScheduledStatus.PLANNED:
        check_no_red_flag(client)
    elif Session.objects.kept().filter(scheduled_session=row).exists():
        raise ConflictError("A logged session belongs to it.")


def _check_move(row: ScheduledSession, due_on: date) -> None:
    if due_on < row.assignment.starts_on:
        fault = FieldFault(("due_on",), "before_start", "Before the assignment starts.")
        raise InvalidError("The session cannot be moved there.", (fault,))
    twin = ScheduledSession.objects.filter(
        assignment=row.assignment, plan_day_id=row.plan_day_id, due_on=due_on
    )
    if twin.exists():
        raise ConflictError("The same plan day is due on that date already.")


def _store_change(
    actor: Actor, client: Client, row: ScheduledSession, due_on: date, status: str, now: datetime
) -> None:
    earliest = min(row.due_on, due_on)
    row.due_on, row.status = due_on, status
    row.version += 1
    row.changed_at = now
    row.save(update_fields=["due_on", "status", "version", "changed_at"])
    if earliest < local_date_of(now, client.zone):
        ask_for_rescoring(client=client, from_on=earliest)
    record_change(
        actor=actor,
        practice_id=row.practice_id,
        subject_key=client.audit_key,
        action="update",
        record_kind="scheduled_session",
        record_id=str(row.uid),
        now=now,
        detail={"status": row.status, "due_on": row.due_on.isoformat()},
    )
