"""What all rows of the outbox have in common: written with what they tell, claimed before they are sent."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from coaching.models.base import PracticeRow, one_of


class OutboxState(models.TextChoices):
    WAITING = "waiting"
    SENT = "sent"
    DEAD = "dead"


class OutboxRow(PracticeRow):
    state = models.CharField(max_length=8, default=OutboxState.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField()
    next_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    error_code = models.CharField(max_length=80, blank=True)

    class Meta(PracticeRow.Meta):
        abstract = True
        constraints = [
            *PracticeRow.Meta.constraints,
            one_of("state", OutboxState.values, "%(class)s_state_known"),
        ]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["next_at"], condition=Q(state="waiting"), name="%(class)s_waiting_idx"),
            models.Index(fields=["created_at"], condition=Q(state="dead"), name="%(class)s_dead_idx"),
        ]
