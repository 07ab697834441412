"""Exercises as computing takes them: muscles, and the joint stress that stands for a client."""

from collections.abc import Iterable, Mapping

from coaching.compute.exercise_profile import ExerciseProfile
from coaching.models import Exercise, MuscleRole, MuscleRoleKind


def exercise_profiles(
    exercises: Iterable[Exercise], stresses: Mapping[int, Mapping[str, float]]
) -> dict[int, ExerciseProfile]:
    """Exercise id -> profile, in one query; `stresses` is exercise id -> joint -> stress."""
    rows = {row.id: row for row in exercises}
    muscles: dict[tuple[int, str], set[str]] = {}
    for exercise_id, muscle, role in MuscleRole.objects.filter(exercise_id__in=rows).values_list(
        "exercise_id", "muscle", "role"
    ):
        muscles.setdefault((exercise_id, role), set()).add(muscle)
    return {
        row.id: exercise_profile(
            row,
            stresses.get(row.id, {}),
            direct=frozenset(muscles.get((row.id, MuscleRoleKind.DIRECT), ())),
            indirect=frozenset(muscles.get((row.id, MuscleRoleKind.INDIRECT), ())),
        )
        for row in rows.values()
    }


def exercise_profile(
    row: Exercise,
    stress: Mapping[str, float],
    *,
    direct: frozenset[str] = frozenset(),
    indirect: frozenset[str] = frozenset(),
) -> ExerciseProfile:
    """One exercise; without its muscles where only its joints are asked after."""
    return ExerciseProfile(
        code=row.code,
        direct=direct,
        indirect=indirect,
        stress=stress,
        movement_pattern=row.movement_pattern,
        equipment=row.equipment,
        measure=row.measure,
        is_compound=row.is_compound,
        is_one_sided=row.is_one_sided,
    )
