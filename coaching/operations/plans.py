"""Writing plans: every change makes the next version, and versions in use never change."""

import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from django.db import transaction

from coaching.errors import ConflictError, ForbiddenError, GoneError, InvalidError
from coaching.models import (
    Actor,
    Assignment,
    Block,
    ChangeKind,
    Exercise,
    Plan,
    PlanDay,
    PlanVersion,
    Prescription,
    PrescriptionAlternative,
)
from coaching.operations.audit import record_change
from coaching.operations.changes import Changed, note_changes
from coaching.operations.plan_checks import plan_faults
from coaching.operations.versions import Kept, check_may_replace, check_version, looking_twice
from coaching.reads.catalogue import exercises_named
from coaching.reads.plans import (
    BlockContent,
    PlanContent,
    PrescriptionContent,
    content_of,
    current_version,
    plan_for,
)


@dataclass(frozen=True, slots=True)
class _PlacedDay:
    row: PlanDay
    blocks: tuple["_PlacedBlock", ...]


@dataclass(frozen=True, slots=True)
class _PlacedBlock:
    row: Block
    prescriptions: tuple["_PlacedPrescription", ...]


@dataclass(frozen=True, slots=True)
class _PlacedPrescription:
    row: Prescription
    alternatives: tuple[PrescriptionAlternative, ...]


@looking_twice
@transaction.atomic
def keep_plan(
    *, actor: Actor, content: PlanContent, own_uid: uuid.UUID | None, now: datetime
) -> Kept[PlanVersion]:
    """As `write_plan`, once for an id of one's own. Raises ConflictError for other content under it."""
    standing = Plan.objects.filter(practice_id=actor.practice_id, uid=own_uid).first() if own_uid else None
    if standing is None or not actor.is_coach:
        return Kept(write_plan(actor=actor, content=content, now=now, own_uid=own_uid), is_new=True)
    if standing.archived_at is not None:
        raise GoneError("This plan has been archived.")
    version = current_version(standing)
    if content_of(version) != content:
        raise ConflictError("Other content stands under this id.", standing=standing)
    return Kept(version, is_new=False)


@transaction.atomic
def write_plan(
    *, actor: Actor, content: PlanContent, now: datetime, own_uid: uuid.UUID | None = None
) -> PlanVersion:
    """Store a new plan as its version 1. Raises ForbiddenError, InvalidError."""
    if not actor.is_coach:
        raise ForbiddenError("Only a coach writes plans.")
    exercises = checked_exercises(actor, content)
    plan = Plan.objects.create(
        uid=own_uid or uuid.uuid4(),
        practice_id=actor.practice_id,
        name=content.name,
        author_id=actor.account_id,
        created_at=now,
    )
    store_version(plan, content, exercises, now)
    _audit(actor, plan, "create", now)
    return current_version(plan)


@transaction.atomic
def rewrite_plan(
    *, actor: Actor, plan_uid: uuid.UUID, content: PlanContent, expected_version: int | None, now: datetime
) -> PlanVersion:
    """Make the plan's next version; whoever was given an older one keeps it.

    Safe to repeat: the same content makes no new version. Raises NotFoundError, ForbiddenError,
    GoneError once archived, ConflictError without an expected version, StaleVersionError, InvalidError.
    """
    plan = _editable_plan(actor, plan_uid)
    exercises = checked_exercises(actor, content)
    standing = current_version(plan)
    if content_of(standing) == content:
        return standing
    check_may_replace(plan, expected_version)
    if plan.name != content.name:
        _tell_new_name(plan, now)
    plan.name = content.name
    plan.version += 1
    plan.save(update_fields=["name", "version"])
    store_version(plan, content, exercises, now)
    _audit(actor, plan, "update", now)
    return current_version(plan)


@transaction.atomic
def archive_plan(*, actor: Actor, plan_uid: uuid.UUID, expected_version: int, now: datetime) -> None:
    """Take the plan out of use; assignments of it go on. Raises as `rewrite_plan` does."""
    plan = _editable_plan(actor, plan_uid)
    check_version(plan, expected_version)
    plan.archived_at = now
    plan.save(update_fields=["archived_at"])
    _audit(actor, plan, "archive", now)


def _tell_new_name(plan: Plan, now: datetime) -> None:
    """Assignments show the name of their plan."""
    given = Assignment.objects.filter(plan_version__plan=plan).values_list("client_id", "uid")
    changed = [Changed(client_id, ChangeKind.ASSIGNMENT, uid) for client_id, uid in given]
    note_changes(practice_id=plan.practice_id, changed=changed, now=now)


def _editable_plan(actor: Actor, plan_uid: uuid.UUID) -> Plan:
    seen = plan_for(actor, plan_uid)
    plan = Plan.objects.select_for_update().get(id=seen.id)
    if not actor.is_coach or not (actor.is_owner or plan.author_id == actor.account_id):
        raise ForbiddenError("Only its author or the owner edits a plan.")
    if plan.archived_at is not None:
        raise GoneError("This plan has been archived.")
    return plan


def checked_exercises(actor: Actor, content: PlanContent) -> dict[str, Exercise]:
    """The exercises that the plan names. Raises InvalidError for what keeps it from being trained."""
    codes = {
        code
        for day in content.days
        for block in day.blocks
        for prescription in block.prescriptions
        for code in (prescription.exercise, *prescription.alternatives)
    }
    exercises = exercises_named(actor.practice_id, codes)
    faults = plan_faults(content, exercises)
    if faults:
        raise InvalidError("The plan cannot be trained as it stands.", faults)
    return exercises


def store_version(
    plan: Plan,
    content: PlanContent,
    exercises: Mapping[str, Exercise],
    now: datetime,
    prescription_uids: Sequence[uuid.UUID] = (),
) -> None:
    """Store the plan's current version; ids that a file brings along go to its prescriptions in order."""
    version = PlanVersion.objects.create(
        plan=plan,
        number=plan.version,
        weeks=content.weeks,
        deload_weeks=list(content.deload_weeks),
        created_at=now,
    )
    placed = tuple(_placed_days(plan, version, content, exercises))
    PlanDay.objects.bulk_create(day.row for day in placed)
    Block.objects.bulk_create(block.row for day in placed for block in day.blocks)
    prescriptions = [each for day in placed for block in day.blocks for each in block.prescriptions]
    for each, uid in zip(prescriptions, prescription_uids, strict=False):
        each.row.uid = uid
    Prescription.objects.bulk_create(each.row for each in prescriptions)
    PrescriptionAlternative.objects.bulk_create(row for each in prescriptions for row in each.alternatives)


def _placed_days(
    plan: Plan, version: PlanVersion, content: PlanContent, exercises: Mapping[str, Exercise]
) -> Iterator[_PlacedDay]:
    """The rows of a version, not saved yet; the order of the content is their position."""
    for i, day in enumerate(content.days):
        day_row = PlanDay(version=version, position=i, weekday=day.weekday, name=day.name)
        blocks = [_placed_block(plan, day_row, j, block, exercises) for j, block in enumerate(day.blocks)]
        yield _PlacedDay(day_row, tuple(blocks))


def _placed_block(
    plan: Plan, day: PlanDay, position: int, content: BlockContent, exercises: Mapping[str, Exercise]
) -> _PlacedBlock:
    block = Block(
        day=day,
        position=position,
        kind=content.kind,
        rest_s=content.rest_s,
        levers=list(content.levers),
    )
    placed = [
        _placed_prescription(plan, block, k, prescription, exercises)
        for k, prescription in enumerate(content.prescriptions)
    ]
    return _PlacedBlock(block, tuple(placed))


def _placed_prescription(
    plan: Plan, block: Block, position: int, content: PrescriptionContent, exercises: Mapping[str, Exercise]
) -> _PlacedPrescription:
    fields = asdict(content) | {"exercise": exercises[content.exercise]}
    codes = fields.pop("alternatives")
    row = Prescription(practice_id=plan.practice_id, block=block, position=position, **fields)
    alternatives = [
        PrescriptionAlternative(prescription=row, position=m, exercise=exercises[code])
        for m, code in enumerate(codes)
    ]
    return _PlacedPrescription(row, tuple(alternatives))


def _audit(actor: Actor, plan: Plan, action: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=plan.practice_id,
        subject_key=None,
        action=action,
        record_kind="plan",
        record_id=str(plan.uid),
        now=now,
        detail={"version": plan.version},
    )
