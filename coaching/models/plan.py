"""What is prescribed: plans in versions, days, blocks, prescriptions; and who is to do it when."""

from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from coaching.models.base import ListQuerySet, PracticeRow, one_of, within
from coaching.models.scoped import OfPractice


class BlockKind(models.TextChoices):
    STRAIGHT_SETS = "straight_sets"
    BACK_TO_BACK = "back_to_back"


class EffortTarget(models.TextChoices):
    FAILURE = "failure"
    REPS_IN_RESERVE = "reps_in_reserve"


class LoadRule(models.TextChoices):
    FIXED = "fixed"
    SHARE_OF_1RM = "share_of_1rm"
    FROM_HISTORY = "from_history"


class Lever(models.TextChoices):
    """What may be made harder from one exposure to the next."""

    REPS = "reps"
    LOAD = "load"
    SECOND_HALF_LOAD = "second_half_load"
    TIME = "time"
    TEMPO = "tempo"


DEFAULT_LEVERS = {
    BlockKind.STRAIGHT_SETS: [Lever.REPS.value, Lever.LOAD.value],
    BlockKind.BACK_TO_BACK: [Lever.REPS.value, Lever.LOAD.value, Lever.SECOND_HALF_LOAD.value],
}


def default_levers() -> list[str]:
    """Those of straight sets; a back-to-back block is always written with its own."""
    return list(DEFAULT_LEVERS[BlockKind.STRAIGHT_SETS])


class SetSide(models.TextChoices):
    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"


class PlanQuerySet(ListQuerySet["Plan"]):
    """A practice's plans; nothing narrows their list."""


class Plan(PracticeRow):
    name = models.CharField(max_length=120)
    author = models.ForeignKey("coaching.Account", null=True, on_delete=models.SET_NULL, related_name="+")
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField()
    archived_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar = PlanQuerySet.as_manager()


class PlanVersion(OfPractice):
    """A plan's content; never edited, a change makes the next number."""

    practice_by = "plan"

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="versions", db_index=False)
    number = models.PositiveIntegerField()
    weeks = models.PositiveSmallIntegerField()
    deload_weeks = models.JSONField(default=list)
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["plan", "number"], name="planversion_number_unique"),
            within("weeks", 1, 104, "planversion_weeks_possible"),
        ]


class PlanDay(OfPractice):
    practice_by = "version"

    version = models.ForeignKey(PlanVersion, on_delete=models.CASCADE, related_name="days", db_index=False)
    position = models.PositiveSmallIntegerField()
    weekday = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["version", "position"], name="planday_position_unique"),
            within("weekday", 0, 6, "planday_weekday_of_week"),
        ]


class Block(OfPractice):
    practice_by = "day"

    day = models.ForeignKey(PlanDay, on_delete=models.CASCADE, related_name="blocks", db_index=False)
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=20)
    rest_s = models.PositiveIntegerField(default=120)
    levers = models.JSONField(default=default_levers)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["day", "position"], name="block_position_unique"),
            one_of("kind", BlockKind.values, "block_kind_known"),
        ]


class Prescription(PracticeRow):
    block = models.ForeignKey(Block, on_delete=models.CASCADE, related_name="prescriptions", db_index=False)
    position = models.PositiveSmallIntegerField()
    exercise = models.ForeignKey("coaching.Exercise", on_delete=models.PROTECT, related_name="+")
    side = models.CharField(max_length=5, default=SetSide.BOTH)
    sets = models.PositiveSmallIntegerField()
    reps_low = models.PositiveSmallIntegerField(null=True, blank=True)
    reps_high = models.PositiveSmallIntegerField(null=True, blank=True)
    duration_s = models.PositiveIntegerField(null=True, blank=True)
    effort_target = models.CharField(max_length=16)
    rir_target = models.FloatField(null=True, blank=True)
    load_rule = models.CharField(max_length=16)
    load_kg = models.FloatField(null=True, blank=True)
    share_of_1rm = models.FloatField(null=True, blank=True)
    tempo = models.CharField(max_length=12, blank=True)
    rest_s = models.PositiveIntegerField(null=True, blank=True)
    has_warm_up_ramp = models.BooleanField(default=False)
    warm_up_steps = models.JSONField(default=list)

    class Meta(PracticeRow.Meta):
        ordering = ["position"]
        constraints = [
            *PracticeRow.Meta.constraints,
            models.UniqueConstraint(fields=["block", "position"], name="prescription_position_unique"),
            one_of("side", SetSide.values, "prescription_side_known"),
            one_of("effort_target", EffortTarget.values, "prescription_effort_known"),
            one_of("load_rule", LoadRule.values, "prescription_load_rule_known"),
            within("sets", 1, 50, "prescription_sets_possible"),
            models.CheckConstraint(
                # A CHECK that comes out as NULL passes: what must be there has to be asked for by name.
                condition=Q(
                    duration_s__isnull=False, duration_s__gte=1, reps_low__isnull=True, reps_high__isnull=True
                )
                | Q(
                    duration_s__isnull=True,
                    reps_low__isnull=False,
                    reps_high__isnull=False,
                    reps_low__gte=1,
                    reps_high__gte=F("reps_low"),
                    reps_high__lte=1000,
                ),
                name="prescription_reps_or_duration",
            ),
            within("rir_target", 0, 10, "prescription_rir_possible", optional=True),
            within("load_kg", 0, 1000, "prescription_load_possible", optional=True),
            within("share_of_1rm", 0.05, 1.1, "prescription_share_possible", optional=True),
        ]


class PrescriptionAlternative(OfPractice):
    """An exercise that the client may do instead, in the coach's order."""

    practice_by = "prescription"

    prescription = models.ForeignKey(
        Prescription, on_delete=models.CASCADE, related_name="alternatives", db_index=False
    )
    position = models.PositiveSmallIntegerField()
    exercise = models.ForeignKey("coaching.Exercise", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(
                fields=["prescription", "position"], name="prescriptionalternative_position_unique"
            ),
            models.UniqueConstraint(
                fields=["prescription", "exercise"], name="prescriptionalternative_once_per_exercise"
            ),
        ]


class AssignmentQuerySet(ListQuerySet["Assignment"]):
    NARROWING = {"from": "starts_on__gte", "until": "starts_on__lte"}

    def standing(self, on: date) -> "AssignmentQuerySet":
        return self.filter(starts_on__lte=on).filter(Q(ends_on__isnull=True) | Q(ends_on__gte=on))


class Assignment(PracticeRow):
    """A plan version given to a client from a date; it keeps that version whatever the plan becomes."""

    client = models.ForeignKey("coaching.Client", on_delete=models.CASCADE, related_name="assignments")
    plan_version = models.ForeignKey(PlanVersion, on_delete=models.PROTECT, related_name="assignments")
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)
    assigned_by = models.ForeignKey(
        "coaching.Account", null=True, on_delete=models.SET_NULL, related_name="+"
    )
    override_reason = models.CharField(max_length=500, blank=True, default="")
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField()

    objects: ClassVar = AssignmentQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(ends_on__isnull=True) | Q(ends_on__gte=F("starts_on")),
                name="assignment_dates_in_order",
            ),
        ]


class ScheduledStatus(models.TextChoices):
    PLANNED = "planned"
    NOT_DONE = "not_done"
    CANCELLED = "cancelled"
    CLINICIAN_STOP = "clinician_stop"


class ScheduledSession(PracticeRow):
    """A plan day on a client's calendar, with what was prescribed as of the day it was laid out."""

    client = models.ForeignKey(
        "coaching.Client", on_delete=models.CASCADE, related_name="scheduled_sessions", db_index=False
    )
    assignment = models.ForeignKey(
        Assignment, on_delete=models.CASCADE, related_name="scheduled_sessions", db_index=False
    )
    plan_day = models.ForeignKey(PlanDay, on_delete=models.PROTECT, related_name="+")
    due_on = models.DateField()
    status = models.CharField(max_length=16, default=ScheduledStatus.PLANNED)
    is_deload = models.BooleanField(default=False)
    prescribed_sets = models.PositiveIntegerField()
    prescribed_reps = models.PositiveIntegerField()
    prescribed_joint_reps = models.JSONField(default=dict)
    version = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField(null=True)  # null: as it was laid out

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            one_of("status", ScheduledStatus.values, "scheduledsession_status_known"),
            models.UniqueConstraint(
                fields=["assignment", "plan_day", "due_on"], name="scheduledsession_once_per_day"
            ),
        ]
        indexes = [models.Index(fields=["client", "due_on"], name="scheduledsession_due_idx")]
