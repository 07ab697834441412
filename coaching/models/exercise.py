"""The exercise catalogue: the shared one (no practice) and each practice's own entries."""

import uuid
from decimal import Decimal
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from coaching.compute.units import step_lb_of
from coaching.models.base import Joint, ListQuerySet, one_of
from coaching.models.scoped import OfPractice


class LoadBasis(models.TextChoices):
    TOTAL = "total"
    PER_HAND = "per_hand"
    ADDED_TO_BODY_MASS = "added_to_body_mass"
    ASSISTED = "assisted"
    NONE = "none"


# Loads that can be compared: what is added to, or taken off, a body of unknown mass would mislead.
WHOLE_LOADS = [LoadBasis.TOTAL, LoadBasis.PER_HAND]


class Measure(models.TextChoices):
    REPS = "reps"
    DURATION = "duration"


class MuscleRoleKind(models.TextChoices):
    DIRECT = "direct"
    INDIRECT = "indirect"


class ExerciseQuerySet(ListQuerySet["Exercise"]):
    NARROWING = {
        "equipment": "equipment",
        "movement_pattern": "movement_pattern",
        "muscle": "muscle_roles__muscle",
    }

    def known_to(self, practice_id: int) -> "ExerciseQuerySet":
        """The shared catalogue and the practice's own entries."""
        return self.filter(Q(practice__isnull=True) | Q(practice_id=practice_id))


class Exercise(OfPractice):
    has_shared_rows = True

    id = models.BigAutoField(primary_key=True)
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    practice = models.ForeignKey(
        "coaching.Practice", null=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    code = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)
    equipment = models.CharField(max_length=30)
    load_basis = models.CharField(max_length=20)
    load_step_thousandths = models.PositiveIntegerField()
    load_step_lb_thousandths = models.PositiveIntegerField(null=True, blank=True)
    movement_pattern = models.CharField(max_length=30)
    measure = models.CharField(max_length=10, default=Measure.REPS)
    is_compound = models.BooleanField(default=False)
    is_one_sided = models.BooleanField(default=False)

    objects: ClassVar = ExerciseQuerySet.as_manager()

    class Meta:
        constraints = [
            one_of("load_basis", LoadBasis.values, "exercise_load_basis_known"),
            one_of("measure", Measure.values, "exercise_measure_known"),
            models.UniqueConstraint(
                fields=["code"], condition=Q(practice__isnull=True), name="exercise_code_unique_in_catalogue"
            ),
            models.UniqueConstraint(fields=["practice", "code"], name="exercise_code_unique_in_practice"),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def load_step_kg(self) -> Decimal:
        return Decimal(self.load_step_thousandths).scaleb(-3)

    @property
    def load_step_lb(self) -> Decimal:
        """The step of equipment marked in pounds: as entered, else the one that goes with the kilograms."""
        if self.load_step_lb_thousandths is None:
            return step_lb_of(self.load_step_kg)
        return Decimal(self.load_step_lb_thousandths).scaleb(-3)


class ExerciseAlternative(OfPractice):
    """What the catalogue proposes instead of an exercise, the nearest first; coach judgement."""

    practice_by = "exercise"

    exercise = models.ForeignKey(
        Exercise, on_delete=models.CASCADE, related_name="alternatives", db_index=False
    )
    position = models.PositiveSmallIntegerField()
    alternative = models.ForeignKey(Exercise, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(
                fields=["exercise", "position"], name="exercisealternative_position_unique"
            ),
            models.UniqueConstraint(
                fields=["exercise", "alternative"], name="exercisealternative_once_per_exercise"
            ),
            models.CheckConstraint(
                condition=~Q(alternative=F("exercise")), name="exercisealternative_is_another"
            ),
        ]


class MuscleRole(OfPractice):
    practice_by = "exercise"

    exercise = models.ForeignKey(
        Exercise, on_delete=models.CASCADE, related_name="muscle_roles", db_index=False
    )
    muscle = models.CharField(max_length=30)
    role = models.CharField(max_length=10)

    class Meta:
        constraints = [
            one_of("role", MuscleRoleKind.values, "musclerole_role_known"),
            models.UniqueConstraint(fields=["exercise", "muscle"], name="musclerole_once_per_muscle"),
        ]


STRESS_LEVELS = [0.0, 0.25, 0.5, 1.0]


class JointStress(OfPractice):
    """What an exercise asks of a joint: coach judgement with a reason; practice and client may override."""

    has_shared_rows = True

    exercise = models.ForeignKey(Exercise, on_delete=models.CASCADE, related_name="joint_stresses")
    practice = models.ForeignKey("coaching.Practice", null=True, on_delete=models.CASCADE, related_name="+")
    client = models.ForeignKey("coaching.Client", null=True, on_delete=models.CASCADE, related_name="+")
    joint = models.CharField(max_length=20)
    stress = models.FloatField()
    reason = models.CharField(max_length=300)
    basis = models.CharField(max_length=20, default="coach_judgement")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            one_of(
                "joint", [joint for joint in Joint.values if joint != Joint.OTHER], "jointstress_joint_known"
            ),
            models.CheckConstraint(condition=Q(stress__in=STRESS_LEVELS), name="jointstress_level_known"),
            models.CheckConstraint(condition=~Q(reason=""), name="jointstress_has_reason"),
            models.CheckConstraint(
                condition=Q(client__isnull=True) | Q(practice__isnull=False),
                name="jointstress_client_in_practice",
            ),
            models.UniqueConstraint(
                fields=["exercise", "joint"],
                condition=Q(practice__isnull=True, client__isnull=True),
                name="jointstress_once_in_catalogue",
            ),
            models.UniqueConstraint(
                fields=["exercise", "joint", "practice"],
                condition=Q(practice__isnull=False, client__isnull=True),
                name="jointstress_once_per_practice",
            ),
            models.UniqueConstraint(
                fields=["exercise", "joint", "client"],
                condition=Q(client__isnull=False),
                name="jointstress_once_per_client",
            ),
        ]
