"""What the coach should know about, with the evidence that says why."""

from collections.abc import Mapping
from datetime import date
from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from coaching.models.base import ListQuerySet, PracticeRow, one_of


class AlertKind(models.TextChoices):
    RED_FLAG = "red_flag"
    PAIN_LIMIT = "pain_limit"
    PAIN_WITH_VOLUME = "pain_with_volume"
    PAIN_RISING = "pain_rising"
    PAIN_UNSETTLED = "pain_unsettled"
    STALLED_LIFT = "stalled_lift"
    REGRESSING_LIFT = "regressing_lift"
    OFF_PLAN = "off_plan"
    UNLOGGED = "unlogged"
    OVER_DOSE = "over_dose"
    SILENT = "silent"


PAIN_KINDS = [
    AlertKind.RED_FLAG,
    AlertKind.PAIN_LIMIT,
    AlertKind.PAIN_WITH_VOLUME,
    AlertKind.PAIN_RISING,
    AlertKind.PAIN_UNSETTLED,
    AlertKind.OVER_DOSE,
]


# Never folded on a sheet, however long it is.
URGENT_KINDS = [AlertKind.RED_FLAG, AlertKind.PAIN_LIMIT]

# Found by looking for trends everywhere, so that some of them are chance.
SCREENED_KINDS = [
    AlertKind.PAIN_WITH_VOLUME,
    AlertKind.PAIN_RISING,
    AlertKind.STALLED_LIFT,
    AlertKind.REGRESSING_LIFT,
]


class AlertStatus(models.TextChoices):
    OPEN = "open"
    ACKNOWLEDGED = "acknowledged"
    PUT_OFF = "put_off"
    CLOSED = "closed"


class Closing(models.TextChoices):
    EVIDENCE_GONE = "evidence_gone"
    BY_COACH = "by_coach"
    CLEARED = "cleared"
    WITHDRAWN = "withdrawn"


class AlertQuerySet(ListQuerySet["Alert"]):
    NARROWING = {
        "status": "status",
        "kind": "kind",
        "client": "client__uid",
        "target": "target",
        "from": "opened_on__gte",
        "until": "opened_on__lte",
    }

    def standing(self) -> "AlertQuerySet":
        """Not closed: open, acknowledged or put off."""
        return self.exclude(status=AlertStatus.CLOSED)

    def wanting_attention(self, on: date) -> "AlertQuerySet":
        """Those a coach should read on `on`: standing, and not put off beyond it."""
        return self.standing().exclude(status=AlertStatus.PUT_OFF, put_off_until_on__gt=on)


class Alert(PracticeRow):
    """One open row per (client, kind, target); the next night updates it instead of opening a twin."""

    client = models.ForeignKey("coaching.Client", on_delete=models.CASCADE, related_name="alerts")
    kind = models.CharField(max_length=20)
    target = models.CharField(max_length=120, blank=True)
    status = models.CharField(max_length=12, default=AlertStatus.OPEN)
    severity = models.PositiveSmallIntegerField()
    opened_on = models.DateField()
    opened_at = models.DateTimeField()
    seen_on = models.DateField()
    sentence = models.CharField(max_length=1000)
    evidence = models.JSONField(default=dict)
    method = models.CharField(max_length=80)
    put_off_until_on = models.DateField(null=True)
    acknowledged_at = models.DateTimeField(null=True)
    acknowledged_by = models.ForeignKey(
        "coaching.Account", null=True, on_delete=models.SET_NULL, related_name="+"
    )
    closed_on = models.DateField(null=True)
    closing = models.CharField(max_length=16, blank=True)
    close_note = models.CharField(max_length=2000, blank=True)
    withdrawal_asked_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    objects: ClassVar = AlertQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            one_of("kind", AlertKind.values, "alert_kind_known"),
            one_of("status", AlertStatus.values, "alert_status_known"),
            models.UniqueConstraint(
                fields=["client", "kind", "target"],
                condition=~Q(status="closed"),
                name="alert_one_standing_per_target",
            ),
            models.CheckConstraint(
                condition=Q(status="closed", closed_on__isnull=False, closing__in=Closing.values)
                | (~Q(status="closed") & Q(closed_on__isnull=True)),
                name="alert_closed_says_when_and_how",
            ),
            models.CheckConstraint(
                condition=~Q(kind="red_flag") | ~Q(status="put_off"), name="alert_red_flag_never_put_off"
            ),
            models.CheckConstraint(
                condition=~Q(kind="red_flag", status="closed") | Q(closing__in=["cleared", "withdrawn"]),
                name="alert_red_flag_ends_by_clinician_or_mistake",
            ),
            models.CheckConstraint(
                condition=~Q(status="put_off") | Q(put_off_until_on__isnull=False),
                name="alert_put_off_has_date",
            ),
        ]
        indexes = [models.Index(fields=["practice", "status"], name="alert_practice_status_idx")]

    @property
    def worse_since_on(self) -> date | None:
        return worse_since_of(self.evidence)

    @property
    def p_value(self) -> float | None:
        return p_value_of(self.evidence)

    @property
    def worth_asking(self) -> list[str]:
        return worth_asking_of(self.evidence)


def worse_since_of(evidence: Mapping[str, Any]) -> date | None:
    """The day on which it became worse than what the coach had read; None again once that is read."""
    since = evidence.get("worse_since_on")
    return date.fromisoformat(since) if since else None


def p_value_of(evidence: Mapping[str, Any]) -> float | None:
    """How easily chance alone would have shown it; None for what is not screened."""
    p_value = evidence.get("p_value")
    return None if p_value is None else float(p_value)


def worth_asking_of(evidence: Mapping[str, Any]) -> list[str]:
    """The questions that were kept with its sentence."""
    return list(evidence.get("worth_asking", []))
