"""Who read or changed whose health data, append-only; the subject is a random key that erasure forgets."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from coaching.models.base import ListQuerySet
from coaching.models.scoped import OfPractice


class AuditEventQuerySet(ListQuerySet["AuditEvent"]):
    NARROWING = {"action": "action"}


class AuditEvent(OfPractice):
    id = models.BigAutoField(primary_key=True)
    practice = models.ForeignKey(
        "coaching.Practice", on_delete=models.PROTECT, related_name="+", db_index=False
    )
    at = models.DateTimeField()
    account_id = models.UUIDField(null=True)
    device_id = models.UUIDField(null=True)
    subject_key = models.UUIDField(null=True)
    action = models.CharField(max_length=40)
    record_kind = models.CharField(max_length=30)
    record_id = models.CharField(max_length=40, blank=True)
    detail = models.JSONField(default=dict)
    read_hour = models.DateTimeField(null=True)

    objects: ClassVar = AuditEventQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["account_id", "device_id", "subject_key", "record_kind", "read_hour"],
                condition=Q(read_hour__isnull=False),
                name="auditevent_read_once_an_hour",
            ),
        ]
        indexes = [
            models.Index(fields=["practice", "subject_key", "at"], name="auditevent_subject_idx"),
            models.Index(fields=["account_id", "at"], name="auditevent_account_idx"),
        ]
