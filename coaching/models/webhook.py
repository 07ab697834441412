"""Webhooks: where a practice wants to be told of alerts, and what is still to be told there."""

import secrets
from collections.abc import Iterable
from datetime import datetime
from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils.crypto import salted_hmac

from coaching.models.base import ListQuerySet, PracticeRow
from coaching.models.outbox_row import OutboxRow

KEY_PURPOSE = "forbear.webhook.signing"


class WebhookEvent(models.TextChoices):
    ALERT_OPENED = "alert.opened"
    ALERT_WORSENED = "alert.worsened"
    ALERT_ACKNOWLEDGED = "alert.acknowledged"
    ALERT_CLOSED = "alert.closed"


TEST_EVENT = "webhook.test"


class SwitchedOff(models.TextChoices):
    """Why the service itself stopped sending."""

    GONE = "gone"
    FAILING = "failing"


def new_salt() -> str:
    return secrets.token_hex(32)


def signing_key(salt: str) -> bytes:
    """The key that a salt stands for; without SECRET_KEY the database alone can sign nothing."""
    return salted_hmac(KEY_PURPOSE, salt, algorithm="sha256").digest()


class WebhookQuerySet(ListQuerySet["Webhook"]):
    def kept(self) -> "WebhookQuerySet":
        return self.filter(removed_at__isnull=True)

    def wanting(self, practice_id: int, events: Iterable[str]) -> "list[Webhook]":
        """Those of a practice, switched on, that want one of these events at least."""
        wanted = set(events)
        rows = self.filter(practice_id=practice_id, is_active=True).order_by("id")
        return [row for row in rows if wanted & set(row.events)]


class Webhook(PracticeRow):
    """One address; its secret is derived from a random salt and SECRET_KEY, and kept nowhere.

    After a rotation the former salt signs along until `former_salt_until_at`. One that is removed stays for
    an hour: who is writing a delivery at that moment must not fail for it.
    """

    address = models.CharField(max_length=500)
    events = models.JSONField(default=list)
    is_active = models.BooleanField(default=True)
    salt = models.CharField(max_length=64)
    former_salt = models.CharField(max_length=64, blank=True)
    former_salt_until_at = models.DateTimeField(null=True)
    created_at = models.DateTimeField()
    tried_at = models.DateTimeField(null=True)
    failures = models.PositiveIntegerField(default=0)
    failing_since_at = models.DateTimeField(null=True)
    rests_until_at = models.DateTimeField(null=True)
    switched_off = models.CharField(max_length=10, blank=True)
    removed_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    objects: ClassVar = WebhookQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(switched_off="") | Q(switched_off__in=SwitchedOff.values, is_active=False),
                name="webhook_switched_off_is_not_active",
            ),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(is_active=False),
                name="webhook_removed_is_not_active",
            ),
            models.CheckConstraint(
                condition=Q(former_salt="", former_salt_until_at__isnull=True)
                | (~Q(former_salt="") & Q(former_salt_until_at__isnull=False)),
                name="webhook_former_salt_ends",
            ),
        ]

    def signing_keys(self, at: datetime) -> list[bytes]:
        """The current key, and the former one while it lasts."""
        salts = [self.salt]
        if self.former_salt_until_at is not None and at < self.former_salt_until_at:
            salts.append(self.former_salt)
        return [signing_key(salt) for salt in salts]


class WebhookDeliveryQuerySet(ListQuerySet["WebhookDelivery"]):
    NARROWING = {"state": "state", "event": "event"}


class WebhookDelivery(OutboxRow):
    """One event for one address; ids only, the body is made of them when it is sent."""

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="deliveries", db_index=False)
    alert = models.ForeignKey("coaching.Alert", null=True, on_delete=models.CASCADE, related_name="+")
    event = models.CharField(max_length=20)
    event_key = models.CharField(max_length=120)
    status_code = models.PositiveSmallIntegerField(null=True)

    objects: ClassVar = WebhookDeliveryQuerySet.as_manager()

    class Meta(OutboxRow.Meta):
        constraints = [
            *OutboxRow.Meta.constraints,
            models.UniqueConstraint(fields=["webhook", "event_key"], name="webhookdelivery_once_per_event"),
            models.CheckConstraint(
                condition=Q(event__in=WebhookEvent.values, alert__isnull=False)
                | Q(event=TEST_EVENT, alert__isnull=True),
                name="webhookdelivery_event_has_its_alert",
            ),
        ]
        indexes = [
            *OutboxRow.Meta.indexes,
            models.Index(fields=["created_at"], name="webhookdelivery_created_idx"),
        ]
