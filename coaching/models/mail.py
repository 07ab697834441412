"""Mail as rows: written with what it tells, sent by one door."""

from django.db import models

from coaching.models.outbox_row import OutboxRow, OutboxState

MailState = OutboxState


class MailKind(models.TextChoices):
    MORNING = "morning"
    URGENT = "urgent"
    INVITATION = "invitation"
    RESET = "reset"


class MailRow(OutboxRow):
    """`payload` holds ids, never health text: the mail is rendered when it is sent."""

    kind = models.CharField(max_length=12)
    recipient = models.EmailField(max_length=254)
    key = models.CharField(max_length=200, unique=True)
    payload = models.JSONField(default=dict)
