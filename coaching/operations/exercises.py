"""A practice's own exercises, and its judgement of what an exercise asks of a joint."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import QuerySet

from coaching.errors import ConflictError, FieldFault, ForbiddenError, InvalidError, NotFoundError
from coaching.models import (
    Actor,
    Client,
    Exercise,
    Joint,
    JointStress,
    LoggedSet,
    MuscleRole,
    MuscleRoleKind,
)
from coaching.operations.audit import record_change
from coaching.operations.rescoring import ask_for_rescoring
from coaching.operations.rollups import rebuild_days
from coaching.operations.standing import check_may_store
from coaching.operations.versions import Kept, check_may_replace, check_version, looking_twice
from coaching.reads.catalogue import catalogue_vocabulary, exercise_named

STRESSED_JOINTS = [joint.value for joint in Joint if joint != Joint.OTHER]


@dataclass(frozen=True, slots=True)
class StressJudgement:
    joint: str
    stress: float
    reason: str


@dataclass(frozen=True, slots=True)
class ExerciseContent:
    """What a coach says of an exercise of their own."""

    code: str
    name: str
    equipment: str
    load_basis: str
    load_step_kg: Decimal
    load_step_lb: Decimal | None
    movement_pattern: str
    measure: str
    is_compound: bool
    is_one_sided: bool
    direct_muscles: tuple[str, ...]
    indirect_muscles: tuple[str, ...]
    stress: tuple[StressJudgement, ...]


@looking_twice
@transaction.atomic
def add_exercise(*, actor: Actor, content: ExerciseContent, now: datetime) -> Kept[Exercise]:
    """Add an exercise of the practice's own; its code is its id. Safe to repeat.

    Raises ConflictError for other content under the code, InvalidError.
    """
    _check_coach(actor)
    _check_content(content)
    standing = Exercise.objects.known_to(actor.practice_id).filter(code=content.code).first()
    if standing is not None:
        if standing.practice_id is not None and _content_of(standing) == _as_a_set(content):
            return Kept(standing, is_new=False)
        raise ConflictError("An exercise of this code exists already.", standing=standing)
    row = Exercise.objects.create(
        practice_id=actor.practice_id,
        code=content.code,
        name=content.name,
        equipment=content.equipment,
        load_basis=content.load_basis,
        load_step_thousandths=int(content.load_step_kg * 1000),
        load_step_lb_thousandths=None if content.load_step_lb is None else int(content.load_step_lb * 1000),
        movement_pattern=content.movement_pattern,
        measure=content.measure,
        is_compound=content.is_compound,
        is_one_sided=content.is_one_sided,
    )
    roles = [(muscle, MuscleRoleKind.DIRECT) for muscle in content.direct_muscles]
    roles += [(muscle, MuscleRoleKind.INDIRECT) for muscle in content.indirect_muscles]
    MuscleRole.objects.bulk_create(
        MuscleRole(exercise=row, muscle=muscle, role=role) for muscle, role in roles
    )
    JointStress.objects.bulk_create(
        JointStress(
            exercise=row,
            practice_id=actor.practice_id,
            joint=judgement.joint,
            stress=judgement.stress,
            reason=judgement.reason,
        )
        for judgement in content.stress
    )
    _audit(actor, None, "create", row, "", now)
    return Kept(row, is_new=True)


def _as_a_set(content: ExerciseContent) -> ExerciseContent:
    """Muscles and joints have no order."""
    return replace(
        content,
        direct_muscles=tuple(sorted(content.direct_muscles)),
        indirect_muscles=tuple(sorted(content.indirect_muscles)),
        stress=tuple(sorted(content.stress, key=lambda judgement: judgement.joint)),
    )


def _content_of(row: Exercise) -> ExerciseContent:
    muscles: dict[str, list[str]] = {kind: [] for kind in MuscleRoleKind.values}
    for role in row.muscle_roles.order_by("muscle"):
        muscles[role.role].append(role.muscle)
    own = row.joint_stresses.filter(practice__isnull=False, client=None).order_by("joint")
    step_lb = row.load_step_lb_thousandths
    return ExerciseContent(
        code=row.code,
        name=row.name,
        equipment=row.equipment,
        load_basis=row.load_basis,
        load_step_kg=row.load_step_kg,
        load_step_lb=None if step_lb is None else row.load_step_lb,
        movement_pattern=row.movement_pattern,
        measure=row.measure,
        is_compound=row.is_compound,
        is_one_sided=row.is_one_sided,
        direct_muscles=tuple(muscles[MuscleRoleKind.DIRECT]),
        indirect_muscles=tuple(muscles[MuscleRoleKind.INDIRECT]),
        stress=tuple(StressJudgement(each.joint, each.stress, each.reason) for each in own),
    )


@looking_twice
@transaction.atomic
def set_stress(
    *,
    actor: Actor,
    code: str,
    judgement: StressJudgement,
    now: datetime,
    client: Client | None = None,
    expected_version: int | None = None,
) -> Kept[JointStress]:
    """Put the practice's judgement, or one for `client` only, above the catalogue's.

    Days already logged are computed again under it, so that a joint's trend keeps one measure. Safe to
    repeat. Raises NotFoundError, ForbiddenError, ConsentMissingError, ConflictError, StaleVersionError.
    """
    _check_coach(actor)
    if judgement.joint not in STRESSED_JOINTS:
        raise NotFoundError("There is no such joint.")
    exercise = exercise_named(actor.practice_id, code)
    if client is not None:
        check_may_store(client)
    row = _own_judgements(actor, exercise, judgement.joint, client).select_for_update().first()
    if row is None and expected_version is not None:
        raise NotFoundError("No judgement of yours stands for this exercise and joint.")
    if row is not None and (row.stress, row.reason) == (judgement.stress, judgement.reason):
        return Kept(row, is_new=False)
    if row is not None:
        check_may_replace(row, expected_version)
    has_new_stress = row is None or row.stress != judgement.stress
    kept = _put_judgement(actor, exercise, judgement, client, row)
    if has_new_stress:
        _recompute(actor.practice_id, exercise, client)
    _audit(actor, client, "set_stress", exercise, judgement.joint, now)
    return kept


@transaction.atomic
def drop_stress(
    *,
    actor: Actor,
    code: str,
    joint: str,
    expected_version: int,
    now: datetime,
    client: Client | None = None,
) -> None:
    """Take the practice's judgement, or the client's, back. Raises NotFoundError, StaleVersionError."""
    _check_coach(actor)
    exercise = exercise_named(actor.practice_id, code)
    row = _own_judgements(actor, exercise, joint, client).select_for_update().first()
    if row is None:
        raise NotFoundError("No judgement of yours stands for this exercise and joint.")
    check_version(row, expected_version)
    row.delete()
    _recompute(actor.practice_id, exercise, client)
    _audit(actor, client, "drop_stress", exercise, joint, now)


def _own_judgements(
    actor: Actor, exercise: Exercise, joint: str, client: Client | None
) -> QuerySet[JointStress]:
    return JointStress.objects.filter(
        exercise=exercise, joint=joint, practice_id=actor.practice_id, client=client
    )


def _put_judgement(
    actor: Actor,
    exercise: Exercise,
    judgement: StressJudgement,
    client: Client | None,
    standing: JointStress | None,
) -> Kept[JointStress]:
    values = {"stress": judgement.stress, "reason": judgement.reason}
    if standing is None:
        row = JointStress.objects.create(
            exercise=exercise,
            joint=judgement.joint,
            practice_id=actor.practice_id,
            client=client,
            **values,
        )
        return Kept(row, is_new=True)
    standing.stress, standing.reason = judgement.stress, judgement.reason
    standing.version += 1
    standing.save()
    return Kept(standing, is_new=False)


def _check_coach(actor: Actor) -> None:
    if not actor.is_coach:
        raise ForbiddenError("Only a coach judges exercises.")


def _check_content(content: ExerciseContent) -> None:
    known = catalogue_vocabulary()
    faults = [
        *_unknown(("equipment",), [content.equipment], known.equipment),
        *_unknown(("movement_pattern",), [content.movement_pattern], known.movement_patterns),
        *_unknown(("muscles", "direct"), content.direct_muscles, known.muscles),
        *_unknown(("muscles", "indirect"), content.indirect_muscles, known.muscles),
        *_repeated(("muscles",), [*content.direct_muscles, *content.indirect_muscles]),
        *_repeated(("stress",), [judgement.joint for judgement in content.stress]),
    ]
    if faults:
        raise InvalidError("Some fields are not acceptable.", tuple(faults))


def _unknown(path: tuple[str, ...], words: Sequence[str], known: frozenset[str]) -> list[FieldFault]:
    listed = ", ".join(sorted(known))
    return [
        FieldFault(path, "unknown_word", f"{word} is not known here; known are: {listed}.")
        for word in words
        if word not in known
    ]


def _repeated(path: tuple[str, ...], words: Sequence[str]) -> list[FieldFault]:
    twice = sorted({word for word in words if words.count(word) > 1})
    return [FieldFault(path, "repeated", f"{word} is given twice.") for word in twice]


def _recompute(practice_id: int, exercise: Exercise, client: Client | None) -> None:
    """Rebuild the days on which the exercise was done, for one client or for everyone who did it."""
    logged = LoggedSet.objects.filter(
        practice_id=practice_id, exercise=exercise, session__deleted_at__isnull=True
    )
    if client is not None:
        logged = logged.filter(session__client=client)
    done_on = logged.values_list("session__client_id", "session__performed_on").distinct()
    days_of: dict[int, set[date]] = {}
    for client_id, day in done_on:
        days_of.setdefault(client_id, set()).add(day)
    for each in Client.objects.filter(id__in=days_of):
        rebuild_days(client=each, days=days_of[each.id])
        ask_for_rescoring(client=each, from_on=min(days_of[each.id]))


def _audit(
    actor: Actor, client: Client | None, action: str, exercise: Exercise, joint: str, now: datetime
) -> None:
    record_change(
        actor=actor,
        practice_id=actor.practice_id,
        subject_key=client.audit_key if client else None,
        action=action,
        record_kind="exercise",
        record_id=str(exercise.uid),
        now=now,
        detail={"joint": joint} if joint else {},
    )
