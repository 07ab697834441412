"""Mail as rows: written with what it tells, sent by one door."""

from django.db import models
from django.db.models import Q

from coaching.models.base import PracticeRow, one_of


class MailKind(models.TextChoices):
    MORNING = "morning"
    URGENT = "urgent"
    INVITATION = "invitation"
    RESET = "reset"


class MailState(models.TextChoices):
    WAITING = "waiting"
    SENT = "sent"
    DEAD = "dead"


class MailRow(PracticeRow):
    """`payload` holds ids, never health text: the mail is rendered when it is sent."""

    kind = models.CharField(max_length=12)
    recipient = models.EmailField(max_length=254)
    key = models.CharField(max_length=200, unique=True)
    payload = models.JSONField(default=dict)
    state = models.CharField(max_length=8, default=MailState.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField()
    next_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    error_code = models.CharField(max_length=80, blank=True)

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            one_of("state", MailState.values, "mailrow_state_known"),
        ]
        indexes = [models.Index(fields=["next_at"], condition=Q(state="waiting"), name="mailrow_waiting_idx")]
