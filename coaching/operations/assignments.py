"""Giving a plan to a client: laid out on their calendar, checked against their injury history, ended."""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from coaching.compute.local_days import local_date_of
from coaching.errors import (
    ConflictError,
    FieldFault,
    ForbiddenError,
    GoneError,
    InvalidError,
    NotFoundError,
)
from coaching.models import (
    Actor,
    Assignment,
    ChangeKind,
    Client,
    PlanVersion,
    ScheduledSession,
    ScheduledStatus,
    Session,
)
from coaching.models.base import ListQuerySet
from coaching.operations.assignment_checks import check_no_red_flag, check_overridden
from coaching.operations.audit import record_change, record_reads
from coaching.operations.changes import Changed, note_changes
from coaching.operations.rescoring import ask_for_rescoring
from coaching.operations.standing import check_may_process
from coaching.operations.versions import check_not_gone, check_version, looking_twice
from coaching.reads.assignments import assignment_of, assignments_of, with_plan
from coaching.reads.clients import client_for
from coaching.reads.laid_out import LaidOutDay, lay_out, monday_of
from coaching.reads.plan_concerns import concerns_about, injury_history
from coaching.reads.plans import current_version, plan_for
from coaching.reads.prescribed import PrescribedDay, prescribed_day, prescriptions_of, weekly_joint_reps
from coaching.reads.stress import stresses_for

# As long as the longest plan: a start further away is a slip of the finger (design choice).
STARTS_WITHIN = timedelta(weeks=104)


@dataclass(frozen=True, slots=True)
class Assigned:
    assignment: Assignment
    is_new: bool


def read_assignments(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ListQuerySet[Assignment]:
    """A client's assignments, the reading audited. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="assignment", now=now)
    return assignments_of(client)


def read_assignment(
    *, actor: Actor, client_uid: uuid.UUID, assignment_uid: uuid.UUID, now: datetime
) -> Assignment:
    """One assignment, the reading audited. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    found = assignment_of(client, assignment_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="assignment", now=now)
    return found


@looking_twice
@transaction.atomic
def assign_plan(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    plan_uid: uuid.UUID,
    starts_on: date,
    override_reason: str,
    now: datetime,
    own_uid: uuid.UUID | None = None,
) -> Assigned:
    """Give the plan's current version to the client from `starts_on`; what they had ends the day before.

    Weeks are calendar weeks, the first that of `starts_on`; its days before `starts_on` are left out. Safe to
    repeat. Raises ConflictError while a red flag stands, against the injury history without a reason, or for
    another assignment under `own_uid`; InvalidError for a start out of reach or that leaves no day.
    """
    client = _locked_client(actor, client_uid)
    if own_uid is not None:
        made = _made_under(client, own_uid, plan_uid, starts_on)
        if made is not None:
            return Assigned(made, is_new=False)
    check_may_process(client)
    version = _assignable_version(actor, plan_uid)
    last_on = monday_of(starts_on) + timedelta(days=7 * version.weeks - 1)
    same = assignments_of(client).filter(plan_version=version, starts_on=starts_on, ends_on=last_on).first()
    if same is not None:
        return Assigned(same, is_new=False)
    _check_start(starts_on, local_date_of(now, client.zone))
    check_no_red_flag(client)
    laid_out = _laid_out(version, starts_on)
    prescribed = _prescribed_days(client, version)
    concerns = concerns_about(
        history=injury_history(client),
        laid_out=laid_out,
        weekly_joint_reps=weekly_joint_reps(prescribed.values()),
    )
    check_overridden(concerns, override_reason)
    _make_room(actor, client, starts_on, last_on, now)
    assignment = Assignment.objects.create(
        uid=own_uid or uuid.uuid4(),
        practice_id=client.practice_id,
        client=client,
        plan_version=version,
        starts_on=starts_on,
        ends_on=last_on,
        assigned_by_id=actor.account_id,
        override_reason=override_reason if concerns else "",
        created_at=now,
    )
    _schedule(assignment, laid_out, prescribed)
    _audit(actor, client, assignment, "create", now, sorted({concern.code for concern in concerns}))
    if starts_on < local_date_of(now, client.zone):
        ask_for_rescoring(client=client, from_on=starts_on)
    return Assigned(assignment_of(client, assignment.uid), is_new=True)


@transaction.atomic
def end_assignment(
    *, actor: Actor, client_uid: uuid.UUID, assignment_uid: uuid.UUID, expected_version: int, now: datetime
) -> None:
    """End the assignment today: planned sessions after today go, what was due stays.

    One that has not begun yet goes altogether. Raises NotFoundError, ForbiddenError, StaleVersionError.
    """
    client = _locked_client(actor, client_uid)
    assignment = assignment_of(client, assignment_uid)
    check_version(assignment, expected_version)
    _end(actor, client, assignment, local_date_of(now, client.zone), now)


def _locked_client(actor: Actor, client_uid: uuid.UUID) -> Client:
    """The client, locked so that two assignments cannot be laid out over each other."""
    client = client_for(actor, client_uid)
    if not actor.is_coach:
        raise ForbiddenError("Only a coach assigns plans.")
    if client.archived_at is not None:
        raise GoneError("This client has left the practice.")
    return Client.objects.select_for_update().get(id=client.id)


def _made_under(
    client: Client, own_uid: uuid.UUID, plan_uid: uuid.UUID, starts_on: date
) -> Assignment | None:
    """What was assigned under this id, whatever became of the plan since."""
    check_not_gone(client=client, kind=ChangeKind.ASSIGNMENT, uids=[own_uid])
    found = with_plan(Assignment.objects.filter(practice_id=client.practice_id, uid=own_uid)).first()
    if found is None:
        return None
    if found.client_id != client.id:
        raise ConflictError("This id is taken.")
    if (found.plan_version.plan.uid, found.starts_on) != (plan_uid, starts_on):
        raise ConflictError("Another assignment stands under this id.", standing=found)
    return found


def _assignable_version(actor: Actor, plan_uid: uuid.UUID) -> PlanVersion:
    try:
        plan = plan_for(actor, plan_uid)
    except NotFoundError as error:
        fault = FieldFault(("plan",), "unknown_plan", error.detail)
        raise InvalidError(error.detail, (fault,)) from None
    if plan.archived_at is not None:
        raise ConflictError("This plan has been archived.")
    return current_version(plan)


def _check_start(starts_on: date, today: date) -> None:
    if not today - STARTS_WITHIN <= starts_on <= today + STARTS_WITHIN:
        raise InvalidError.at("starts_on", "out_of_reach", "A plan starts within 104 weeks of today.")


def _laid_out(version: PlanVersion, starts_on: date) -> list[LaidOutDay]:
    laid_out = lay_out(version, starts_on)
    if not laid_out:
        fault = FieldFault(("starts_on",), "nothing_left", "No day of the plan is left in its weeks.")
        raise InvalidError("The plan would be empty.", (fault,))
    return laid_out


def _prescribed_days(client: Client, version: PlanVersion) -> dict[int, PrescribedDay]:
    """Plan day id -> what it asks of this client."""
    days = list(version.days.all())
    exercise_ids = {row.exercise_id for day in days for row in prescriptions_of(day)}
    stresses = stresses_for(practice_id=client.practice_id, client_id=client.id, exercise_ids=exercise_ids)
    return {day.id: prescribed_day(day, stresses) for day in days}


def _make_room(actor: Actor, client: Client, starts_on: date, last_on: date, now: datetime) -> None:
    """End every assignment that reaches into the new one's days, the day before it starts."""
    reaching = Assignment.objects.filter(client=client, starts_on__lte=last_on).filter(
        Q(ends_on__isnull=True) | Q(ends_on__gte=starts_on)
    )
    for assignment in reaching:
        _end(actor, client, assignment, starts_on - timedelta(days=1), now)


def _end(actor: Actor, client: Client, assignment: Assignment, last_on: date, now: datetime) -> None:
    """Let nothing planned stand after `last_on`, unless it has been logged; safe to repeat."""
    _audit(actor, client, assignment, "end", now, [])
    logged = Session.objects.kept().filter(scheduled_session=OuterRef("pk"))
    planned = assignment.scheduled_sessions.filter(due_on__gt=last_on, status=ScheduledStatus.PLANNED)
    dropped = planned.exclude(Exists(logged))
    gone = [
        Changed(client.id, ChangeKind.SCHEDULED_SESSION, uid, is_deleted=True)
        for uid in dropped.values_list("uid", flat=True)
    ]
    dropped.delete()
    if last_on < assignment.starts_on and not assignment.scheduled_sessions.exists():
        gone.append(Changed(client.id, ChangeKind.ASSIGNMENT, assignment.uid, is_deleted=True))
        note_changes(practice_id=client.practice_id, changed=gone, now=now)
        assignment.delete()
        return
    note_changes(practice_id=client.practice_id, changed=gone, now=now)
    ends_on = max(assignment.starts_on, last_on)
    assignment.ends_on = ends_on if assignment.ends_on is None else min(assignment.ends_on, ends_on)
    assignment.version += 1
    assignment.save(update_fields=["ends_on", "version"])


def _schedule(
    assignment: Assignment, laid_out: Iterable[LaidOutDay], prescribed: Mapping[int, PrescribedDay]
) -> None:
    monday = monday_of(assignment.starts_on)
    deload_weeks = set(assignment.plan_version.deload_weeks)
    rows = [
        ScheduledSession(
            practice_id=assignment.practice_id,
            client_id=assignment.client_id,
            assignment=assignment,
            plan_day=row.day,
            due_on=row.due_on,
            is_deload=(row.due_on - monday).days // 7 + 1 in deload_weeks,
            prescribed_sets=prescribed[row.day.id].sets,
            prescribed_reps=prescribed[row.day.id].reps,
            prescribed_joint_reps=prescribed[row.day.id].joint_reps,
        )
        for row in laid_out
    ]
    ScheduledSession.objects.bulk_create(rows)
    changed = [Changed(row.client_id, ChangeKind.SCHEDULED_SESSION, row.uid) for row in rows]
    note_changes(practice_id=assignment.practice_id, changed=changed, now=assignment.created_at)


def _audit(
    actor: Actor, client: Client, assignment: Assignment, action: str, now: datetime, overrode: list[str]
) -> None:
    """The reason itself is on the assignment, where erasure reaches it."""
    record_change(
        actor=actor,
        practice_id=assignment.practice_id,
        subject_key=client.audit_key,
        action=action,
        record_kind="assignment",
        record_id=str(assignment.uid),
        now=now,
        detail={"overrode": overrode} if overrode else {},
    )
