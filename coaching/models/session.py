"""What was done: sessions, their sets, and the pain that came with them."""

from collections.abc import Mapping
from typing import Any, ClassVar

from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from coaching.models.base import ListQuerySet, PracticeRow, one_of, site_is_possible, within
from coaching.models.plan import SetSide


class SessionQuerySet(ListQuerySet["Session"]):
    NARROWING = {"from": "performed_on__gte", "until": "performed_on__lte"}

    def narrowed(self, asked: Mapping[str, Any]) -> "SessionQuerySet":
        """An exercise fits where any set is of it; asked in a subquery, so that no session comes twice."""
        others = {word: value for word, value in asked.items() if word != "exercise"}
        rows = super().narrowed(others)
        if "exercise" not in asked:
            return rows
        sets = LoggedSet.objects.filter(session=OuterRef("pk"), exercise__code=asked["exercise"])
        return rows.filter(Exists(sets))

    def kept(self) -> "SessionQuerySet":
        return self.filter(deleted_at__isnull=True)


class Session(PracticeRow):
    client = models.ForeignKey(
        "coaching.Client", on_delete=models.CASCADE, related_name="sessions", db_index=False
    )
    scheduled_session = models.ForeignKey(
        "coaching.ScheduledSession", null=True, on_delete=models.SET_NULL, related_name="sessions"
    )
    performed_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    zone = models.CharField(max_length=64)
    performed_on = models.DateField()
    session_rpe = models.FloatField(null=True)
    note = models.CharField(max_length=2000, blank=True)
    is_deload = models.BooleanField(default=False)
    work_sets = models.PositiveIntegerField(default=0)
    work_reps = models.PositiveIntegerField(default=0)
    volume_load_kg = models.FloatField(default=0)
    content_hash = models.CharField(max_length=80)
    version = models.PositiveIntegerField(default=1)
    received_at = models.DateTimeField()
    deleted_at = models.DateTimeField(null=True)

    objects: ClassVar = SessionQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("performed_at")),
                name="session_ends_after_it_starts",
            ),
            within("session_rpe", 0, 10, "session_rpe_on_scale", optional=True),
            models.CheckConstraint(
                condition=Q(performed_at__gte="1990-01-01T00:00:00Z"), name="session_not_before_1990"
            ),
        ]
        indexes = [models.Index(fields=["client", "performed_on"], name="session_client_day_idx")]


class LoadUnit(models.TextChoices):
    KG = "kg"
    LB = "lb"


class SetKind(models.TextChoices):
    WARM_UP = "warm_up"
    WORK = "work"


class EndedBy(models.TextChoices):
    TARGET = "target"
    FAILURE = "failure"
    PAIN = "pain"
    TECHNIQUE = "technique"
    OTHER = "other"


class LoggedSet(PracticeRow):
    """One set; the load stays as entered, kilograms are derived exactly when read.

    `guessed_rir` is the reserve the lifter stated after `guessed_after_reps` repetitions; no number uses it.
    """

    session = models.ForeignKey(Session, on_delete=models.CASCADE, related_name="sets", db_index=False)
    exercise = models.ForeignKey("coaching.Exercise", on_delete=models.PROTECT, related_name="+")
    prescription = models.ForeignKey(
        "coaching.Prescription", null=True, on_delete=models.SET_NULL, related_name="+"
    )
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8)
    side = models.CharField(max_length=5)
    load_thousandths = models.PositiveIntegerField(default=0)
    load_unit = models.CharField(max_length=2, default=LoadUnit.KG)
    reps = models.PositiveSmallIntegerField(null=True)
    duration_s = models.PositiveIntegerField(null=True)
    rir = models.FloatField(null=True)
    guessed_rir = models.FloatField(null=True)
    guessed_after_reps = models.PositiveSmallIntegerField(null=True)
    ended_by = models.CharField(max_length=10)
    tempo = models.CharField(max_length=12, blank=True)
    rest_s = models.PositiveIntegerField(null=True)
    follows_position = models.PositiveSmallIntegerField(null=True)
    is_to_confirm = models.BooleanField(default=False)
    confirmed_at = models.DateTimeField(null=True)

    class Meta(PracticeRow.Meta):
        ordering = ["position"]
        # Few sets wait to be confirmed, and every sheet asks for them.
        indexes = [
            models.Index(fields=["session"], condition=Q(is_to_confirm=True), name="loggedset_to_confirm_idx")
        ]
        constraints = [
            *PracticeRow.Meta.constraints,
            models.UniqueConstraint(fields=["session", "position"], name="loggedset_position_unique"),
            one_of("kind", SetKind.values, "loggedset_kind_known"),
            one_of("side", SetSide.values, "loggedset_side_known"),
            one_of("load_unit", LoadUnit.values, "loggedset_unit_known"),
            one_of("ended_by", EndedBy.values, "loggedset_ended_by_known"),
            within("load_thousandths", 0, 2_000_000, "loggedset_load_possible"),
            within("rir", 0, 20, "loggedset_rir_possible", optional=True),
            within("guessed_rir", 0, 20, "loggedset_guess_possible", optional=True),
            models.CheckConstraint(
                condition=Q(guessed_rir__isnull=True, guessed_after_reps__isnull=True)
                | Q(
                    guessed_rir__isnull=False,
                    guessed_after_reps__isnull=False,
                    guessed_after_reps__gte=0,
                    reps__isnull=False,
                    guessed_after_reps__lte=F("reps"),
                ),
                name="loggedset_guess_within_the_set",
            ),
            models.CheckConstraint(
                # A CHECK that comes out as NULL passes: what must be there has to be asked for by name.
                condition=Q(reps__isnull=False, reps__gte=0, reps__lte=1000, duration_s__isnull=True)
                | Q(reps__isnull=True, duration_s__isnull=False, duration_s__gte=1, duration_s__lte=7200),
                name="loggedset_reps_or_duration",
            ),
        ]


class PainMoment(models.TextChoices):
    BEFORE = "before"
    DURING = "during"
    AFTER = "after"
    NEXT_MORNING = "next_morning"
    AT_REST = "at_rest"


class PainReportQuerySet(ListQuerySet["PainReport"]):
    NARROWING = {
        "from": "felt_on__gte",
        "until": "felt_on__lte",
        "joint": "joint",
        "side": "side",
        "moment": "moment",
    }


class PainReport(PracticeRow):
    """Pain 0-10 of one site at one moment; `felt_on` is the training day it belongs to."""

    client = models.ForeignKey(
        "coaching.Client", on_delete=models.CASCADE, related_name="pain_reports", db_index=False
    )
    session = models.ForeignKey(Session, null=True, on_delete=models.CASCADE, related_name="pain_reports")
    joint = models.CharField(max_length=20)
    side = models.CharField(max_length=10)
    other_site = models.CharField(max_length=80, blank=True)
    moment = models.CharField(max_length=14)
    pain = models.PositiveSmallIntegerField()
    symptoms = models.JSONField(default=dict)
    note = models.CharField(max_length=2000, blank=True)
    explanation = models.CharField(max_length=300, blank=True)
    reported_at = models.DateTimeField()
    felt_on = models.DateField()
    content_hash = models.CharField(max_length=80)
    version = models.PositiveIntegerField(default=1)
    received_at = models.DateTimeField()

    objects: ClassVar = PainReportQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            site_is_possible("painreport_site_possible"),
            one_of("moment", PainMoment.values, "painreport_moment_known"),
            within("pain", 0, 10, "painreport_pain_on_scale"),
            models.CheckConstraint(
                condition=~Q(joint="other") | ~Q(other_site=""), name="painreport_other_site_named"
            ),
        ]
        indexes = [models.Index(fields=["client", "felt_on"], name="painreport_client_day_idx")]
