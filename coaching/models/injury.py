"""A client's injury history: what was said and by whom, what to avoid, what a clinician decided."""

from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from coaching.models.base import ListQuerySet, PracticeRow, one_of, site_is_possible, within
from coaching.models.exercise import Exercise


class SaidBy(models.TextChoices):
    CLIENT = "client"
    COACH = "coach"
    CLINICIAN = "clinician"


class InjuryStatus(models.TextChoices):
    ACTIVE = "active"
    SETTLED = "settled"
    STOPPED_BY_CLINICIAN = "stopped_by_clinician"


class InjuryQuerySet(ListQuerySet["Injury"]):
    NARROWING = {"status": "status", "joint": "joint", "side": "side"}

    def guarding(self) -> "InjuryQuerySet":
        """Entries that make their site guarded: active, stopped, capped or limited."""
        return self.filter(
            ~Q(status=InjuryStatus.SETTLED)
            | Q(weekly_joint_reps_cap__isnull=False)
            | Q(pain_limit__isnull=False)
        )


class Injury(PracticeRow):
    client = models.ForeignKey("coaching.Client", on_delete=models.CASCADE, related_name="injuries")
    joint = models.CharField(max_length=20)
    side = models.CharField(max_length=10)
    other_site = models.CharField(max_length=80, blank=True)
    onset_on = models.DateField(null=True, blank=True)
    said = models.CharField(max_length=2000)
    said_by = models.CharField(max_length=10)
    status = models.CharField(max_length=24, default=InjuryStatus.ACTIVE)
    cautions = models.CharField(max_length=2000, blank=True)
    weekly_joint_reps_cap = models.PositiveIntegerField(null=True, blank=True)
    pain_limit = models.PositiveSmallIntegerField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField()

    objects: ClassVar = InjuryQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            site_is_possible("injury_site_possible"),
            one_of("status", InjuryStatus.values, "injury_status_known"),
            one_of("said_by", SaidBy.values, "injury_said_by_known"),
            within("pain_limit", 1, 10, "injury_pain_limit_on_scale", optional=True),
        ]

    @property
    def target(self) -> str:
        return f"{self.joint}:{self.side}"

    @property
    def is_guarding(self) -> bool:
        """As InjuryQuerySet.guarding, of one row."""
        has_bound = self.weekly_joint_reps_cap is not None or self.pain_limit is not None
        return self.status != InjuryStatus.SETTLED or has_bound


class RestrictionKind(models.TextChoices):
    AVOID_EXERCISE = "avoid_exercise"
    AVOID_PATTERN = "avoid_pattern"
    LIMIT = "limit"


class RestrictionQuerySet(ListQuerySet["Restriction"]):
    NARROWING = {"from": "from_on__gte", "until": "from_on__lte", "kind": "kind", "said_by": "said_by"}

    def standing(self, on: date) -> "RestrictionQuerySet":
        return self.filter(from_on__lte=on).filter(Q(until_on__isnull=True) | Q(until_on__gte=on))


class Restriction(PracticeRow):
    injury = models.ForeignKey(Injury, on_delete=models.CASCADE, related_name="restrictions")
    kind = models.CharField(max_length=20)
    exercise = models.ForeignKey("coaching.Exercise", null=True, on_delete=models.PROTECT, related_name="+")
    movement_pattern = models.CharField(max_length=30, blank=True)
    limit = models.CharField(max_length=200, blank=True)
    from_on = models.DateField()
    until_on = models.DateField(null=True, blank=True)
    said_by = models.CharField(max_length=10)

    objects: ClassVar = RestrictionQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            one_of("said_by", SaidBy.values, "restriction_said_by_known"),
            models.CheckConstraint(
                condition=Q(kind=RestrictionKind.AVOID_EXERCISE, exercise__isnull=False)
                | (Q(kind=RestrictionKind.AVOID_PATTERN) & ~Q(movement_pattern=""))
                | (Q(kind=RestrictionKind.LIMIT) & ~Q(limit="")),
                name="restriction_says_what",
            ),
            models.CheckConstraint(
                condition=Q(until_on__isnull=True) | Q(until_on__gte=F("from_on")),
                name="restriction_dates_in_order",
            ),
        ]

    def is_standing(self, on: date) -> bool:
        """As RestrictionQuerySet.standing, of one row."""
        return self.from_on <= on and (self.until_on is None or on <= self.until_on)

    def is_against(self, exercise: Exercise) -> bool:
        """It names the exercise, or its movement pattern; a limit is against none."""
        if self.kind == RestrictionKind.AVOID_EXERCISE:
            return self.exercise_id == exercise.id
        is_pattern = self.kind == RestrictionKind.AVOID_PATTERN
        return is_pattern and self.movement_pattern == exercise.movement_pattern


class ClearanceQuerySet(ListQuerySet["Clearance"]):
    NARROWING = {"from": "cleared_on__gte", "until": "cleared_on__lte", "joint": "joint", "side": "side"}


class Clearance(PracticeRow):
    """A licensed clinician's decision, as recorded by a coach; the only thing that lifts a red flag."""

    client = models.ForeignKey("coaching.Client", on_delete=models.CASCADE, related_name="clearances")
    joint = models.CharField(max_length=20, blank=True)
    side = models.CharField(max_length=10, blank=True)
    clinician_name = models.CharField(max_length=120)
    clinician_profession = models.CharField(max_length=80)
    cleared_on = models.DateField()
    flags = models.JSONField(default=list)
    restrictions = models.CharField(max_length=2000, blank=True)
    valid_until_on = models.DateField(null=True, blank=True)
    recorded_by = models.ForeignKey(
        "coaching.Account", null=True, on_delete=models.SET_NULL, related_name="+"
    )
    recorded_at = models.DateTimeField()

    objects: ClassVar = ClearanceQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(clinician_name="") & ~Q(clinician_profession=""),
                name="clearance_names_clinician",
            ),
        ]


class InterventionNoteQuerySet(ListQuerySet["InterventionNote"]):
    NARROWING = {"from": "noted_on__gte", "until": "noted_on__lte", "joint": "joint", "side": "side"}


class InterventionNote(PracticeRow):
    client = models.ForeignKey("coaching.Client", on_delete=models.CASCADE, related_name="intervention_notes")
    joint = models.CharField(max_length=20)
    side = models.CharField(max_length=10)
    noted_on = models.DateField()
    changed = models.CharField(max_length=2000)
    reason = models.CharField(max_length=2000, blank=True)
    is_shared = models.BooleanField(default=False)
    author = models.ForeignKey("coaching.Account", null=True, on_delete=models.SET_NULL, related_name="+")
    created_at = models.DateTimeField()

    objects: ClassVar = InterventionNoteQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [*PracticeRow.Meta.constraints, site_is_possible("interventionnote_site_possible")]
