"""The exercises a practice works with: the shared catalogue and its own entries."""

from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Exists, F, OuterRef, Q, prefetch_related_objects

from coaching.errors import NotFoundError
from coaching.models import Client, Exercise, JointStress, MuscleRole, MuscleRoleKind
from coaching.models.exercise import ExerciseQuerySet
from coaching.reads.stress import StandingStress, practice_stresses, stress_table

FROM_CATALOGUE, FROM_PRACTICE = "catalogue", "practice"


@dataclass(frozen=True, slots=True)
class ExerciseEntry:
    """One exercise as a practice, or one of its clients, works with it."""

    code: str
    name: str
    equipment: str
    load_basis: str
    load_step_kg: Decimal
    load_step_lb: Decimal
    movement_pattern: str
    measure: str
    is_compound: bool
    is_one_sided: bool
    source: str
    direct_muscles: tuple[str, ...]
    indirect_muscles: tuple[str, ...]
    stress: tuple[StandingStress, ...]
    alternatives: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The words the shared catalogue uses; a practice's own entries use the same ones."""

    equipment: frozenset[str]
    movement_patterns: frozenset[str]
    muscles: frozenset[str]


def exercises_known_to(practice_id: int, *, joint: str | None = None) -> ExerciseQuerySet:
    """The exercises of the practice; with a joint, those whose standing stress of it is above 0."""
    rows = Exercise.objects.known_to(practice_id).prefetch_related(
        "muscle_roles", "alternatives__alternative"
    )
    return rows if joint is None else rows.filter(_stresses(practice_id, joint))


def exercise_named(practice_id: int, code: str) -> Exercise:
    """The practice's own exercise of this code, else the catalogue's. Raises NotFoundError."""
    found = exercises_named(practice_id, [code]).get(code)
    if found is None:
        raise NotFoundError("There is no such exercise.")
    return found


def exercises_named(practice_id: int, codes: Collection[str]) -> dict[str, Exercise]:
    """Code -> exercise for those this practice knows; its own entry wins over the catalogue's."""
    rows = Exercise.objects.known_to(practice_id).filter(code__in=codes)
    return {row.code: row for row in rows.order_by(F("practice_id").asc(nulls_first=True))}


def exercise_entries(
    *, practice_id: int, exercises: Collection[Exercise], client: Client | None = None
) -> dict[int, ExerciseEntry]:
    """Exercise id -> entry, with the stress that stands for the practice, or for `client`."""
    ids = [row.id for row in exercises]
    if client is None:
        standing = practice_stresses(practice_id=practice_id, exercise_ids=ids)
    else:
        table = stress_table(practice_id=practice_id, client_ids=[client.id], exercise_ids=ids)
        standing = table.by_client[client.id]
    return {row.id: _entry(row, standing[row.id]) for row in exercises}


def exercise_entry(*, practice_id: int, code: str, client: Client | None = None) -> ExerciseEntry:
    """One exercise by its code. Raises NotFoundError."""
    row = exercise_named(practice_id, code)
    prefetch_related_objects([row], "muscle_roles", "alternatives__alternative")
    return exercise_entries(practice_id=practice_id, exercises=[row], client=client)[row.id]


def catalogue_vocabulary() -> Vocabulary:
    shared = Exercise.objects.filter(practice__isnull=True)
    return Vocabulary(
        equipment=frozenset(shared.values_list("equipment", flat=True)),
        movement_patterns=frozenset(shared.values_list("movement_pattern", flat=True)),
        muscles=frozenset(
            MuscleRole.objects.filter(exercise__practice__isnull=True).values_list("muscle", flat=True)
        ),
    )


def _entry(row: Exercise, standing: dict[str, StandingStress]) -> ExerciseEntry:
    roles = sorted(row.muscle_roles.all(), key=lambda role: role.muscle)
    return ExerciseEntry(
        code=row.code,
        name=row.name,
        equipment=row.equipment,
        load_basis=row.load_basis,
        load_step_kg=row.load_step_kg,
        load_step_lb=row.load_step_lb,
        movement_pattern=row.movement_pattern,
        measure=row.measure,
        is_compound=row.is_compound,
        is_one_sided=row.is_one_sided,
        source=FROM_CATALOGUE if row.practice_id is None else FROM_PRACTICE,
        direct_muscles=tuple(role.muscle for role in roles if role.role == MuscleRoleKind.DIRECT),
        indirect_muscles=tuple(role.muscle for role in roles if role.role == MuscleRoleKind.INDIRECT),
        stress=tuple(standing[joint] for joint in sorted(standing)),
        alternatives=tuple(each.alternative.code for each in row.alternatives.all()),
    )


def _stresses(practice_id: int, joint: str) -> Q:
    rows = JointStress.objects.filter(exercise=OuterRef("pk"), joint=joint, client__isnull=True)
    own = rows.filter(practice_id=practice_id)
    shared = rows.filter(practice__isnull=True)
    return Q(Exists(own.filter(stress__gt=0))) | (Q(Exists(shared.filter(stress__gt=0))) & ~Q(Exists(own)))
