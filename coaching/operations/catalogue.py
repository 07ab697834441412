"""The shared exercise catalogue, kept equal to its fixture; overrides stay with whoever made them."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from coaching.models import Exercise, ExerciseAlternative, JointStress, MuscleRole
from coaching.models.scope import across_practices

CATALOGUE_PATH = Path(settings.BASE_DIR) / "fixtures" / "exercises.json"


@across_practices("the shared catalogue is of no practice")
def load_catalogue(*, using: str = "default", path: Path = CATALOGUE_PATH) -> int:
    """Bring the catalogue rows to what the fixture says; safe to repeat. Returns how many exercises it holds.

    An exercise that has left the fixture stays: logged sets may point at it.
    """
    entries = json.loads(path.read_text())
    with transaction.atomic(using=using):
        standing = {row.code: row for row in Exercise.objects.using(using).filter(practice__isnull=True)}
        rows = {entry["code"]: _save_exercise(entry, standing.get(entry["code"]), using) for entry in entries}
        _replace_alternatives(entries, rows, using)
    return len(entries)


def _save_exercise(entry: dict[str, Any], row: Exercise | None, using: str) -> Exercise:
    fields = {
        "name": entry["name"],
        "equipment": entry["equipment"],
        "load_basis": entry["load_basis"],
        "load_step_thousandths": int(Decimal(entry["load_step_kg"]) * 1000),
        "movement_pattern": entry["movement_pattern"],
        "measure": entry["measure"],
        "is_compound": entry["is_compound"],
        "is_one_sided": entry["is_one_sided"],
    }
    if row is None:
        row = Exercise(code=entry["code"])
    for name, value in fields.items():
        setattr(row, name, value)
    row.save(using=using)
    _replace_rows(row, entry, using)
    return row


def _replace_rows(row: Exercise, entry: dict[str, Any], using: str) -> None:
    MuscleRole.objects.using(using).filter(exercise=row).delete()
    MuscleRole.objects.using(using).bulk_create(
        MuscleRole(exercise=row, muscle=muscle["muscle"], role=muscle["role"]) for muscle in entry["muscles"]
    )
    catalogue_stresses = JointStress.objects.using(using).filter(
        exercise=row, practice__isnull=True, client__isnull=True
    )
    catalogue_stresses.delete()
    JointStress.objects.using(using).bulk_create(
        JointStress(exercise=row, joint=stress["joint"], stress=stress["stress"], reason=stress["reason"])
        for stress in entry["stress"]
    )


def _replace_alternatives(entries: list[dict[str, Any]], rows: dict[str, Exercise], using: str) -> None:
    """Once all exercises stand, since an alternative may come later in the fixture than what it replaces."""
    alternatives = ExerciseAlternative.objects.using(using)
    alternatives.filter(exercise__in=rows.values()).delete()
    alternatives.bulk_create(
        ExerciseAlternative(exercise=rows[entry["code"]], position=position, alternative=rows[code])
        for entry in entries
        for position, code in enumerate(entry.get("alternatives", []))
    )
