"""A practice's own exercises, and its judgement of what an exercise asks of a joint."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

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


@transaction.atomic
def add_exercise(*, actor: Actor, content: ExerciseContent, now: datetime) -> Exercise:
    """Add an exercise of the practice's own. Raises ConflictError for a code in use, InvalidError."""
    _check_coach(actor)
    _check_content(content)
    if Exercise.objects.known_to(actor.practice_id).filter(code=content.code).exists():
        raise ConflictError("An exercise of this code exists already.")
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
    return row


@transaction.atomic
def set_stress(
    *, actor: Actor, code: str, judgement: StressJudgement, now: datetime, client: Client | None = None
) -> bool:
    """Put the practice's judgement, or one for `client` only, above the catalogue's; True if there was none.

    Days already logged are computed again under it, so that a joint's trend keeps one measure.
    Safe to repeat. Raises NotFoundError, ForbiddenError, ConsentMissingError.
    """
    _check_coach(actor)
    if judgement.joint not in STRESSED_JOINTS:
        raise NotFoundError("There is no such joint.")
    exercise = exercise_named(actor.practice_id, code)
    if client is not None:
        check_may_store(client)
    values = {"stress": judgement.stress, "reason": judgement.reason}
    row, is_new = JointStress.objects.get_or_create(
        exercise=exercise,
        joint=judgement.joint,
        practice_id=actor.practice_id,
        client=client,
        defaults=values,
    )
    if not is_new and (row.stress, row.reason) == (judgement.stress, judgement.reason):
        return False
    has_new_stress = is_new or row.stress != judgement.stress
    row.stress, row.reason = judgement.stress, judgement.reason
    row.save()
    if has_new_stress:
        _recompute(actor.practice_id, exercise, client)
    _audit(actor, client, "set_stress", exercise, judgement.joint, now)
    return is_new


@transaction.atomic
def drop_stress(*, actor: Actor, code: str, joint: str, now: datetime, client: Client | None = None) -> None:
    """Take the practice's judgement, or the client's, back. Raises NotFoundError if there is none."""
    _check_coach(actor)
    exercise = exercise_named(actor.practice_id, code)
    dropped, _ = JointStress.objects.filter(
        exercise=exercise, joint=joint, practice_id=actor.practice_id, client=client
    ).delete()
    if not dropped:
        raise NotFoundError("No judgement of yours stands for this exercise and joint.")
    _recompute(actor.practice_id, exercise, client)
    _audit(actor, client, "drop_stress", exercise, joint, now)


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
