"""The tenant: one coaching business."""

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import Q

from coaching.models.base import within
from coaching.models.scoped import OfPractice, ScopedQuerySet


class PracticeQuerySet(ScopedQuerySet["Practice"]):
    def open(self) -> "PracticeQuerySet":
        """Those that nobody has closed."""
        return self.filter(closed_at__isnull=True)


class Practice(OfPractice):
    practice_by = "id"

    id = models.BigAutoField(primary_key=True)
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=120)
    zone = models.CharField(max_length=64)
    country = models.CharField(max_length=2)
    emergency_text = models.CharField(max_length=200)
    night_hour = models.PositiveSmallIntegerField(default=3)
    coaches_see_all_clients = models.BooleanField(default=False)
    # How long what is kept of whom; null keeps it until somebody erases it.
    keeps_clients_years = models.PositiveSmallIntegerField(null=True, blank=True)
    keeps_audit_years = models.PositiveSmallIntegerField(null=True, blank=True, default=6)
    keeps_sent_mail_days = models.PositiveSmallIntegerField(null=True, blank=True, default=30)
    keeps_tombstones_days = models.PositiveSmallIntegerField(null=True, blank=True, default=365)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    keep_until_on = models.DateField(null=True, blank=True)

    objects: ClassVar = PracticeQuerySet.as_manager()

    class Meta:
        constraints = [
            within("night_hour", 0, 23, "practice_night_hour_of_day"),
            within("keeps_clients_years", 1, 100, "practice_keeps_clients_possible", optional=True),
            within("keeps_audit_years", 1, 100, "practice_keeps_audit_possible", optional=True),
            within("keeps_sent_mail_days", 3, 3650, "practice_keeps_sent_mail_possible", optional=True),
            # As long as a token lives, or a device of somebody erased would be told to sign in.
            within("keeps_tombstones_days", 90, 9999, "practice_keeps_tombstones_possible", optional=True),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, keep_until_on__isnull=True)
                | Q(closed_at__isnull=False, keep_until_on__isnull=False),
                name="practice_closed_is_kept_until",
            ),
        ]

    def __str__(self) -> str:
        return str(self.uid)
