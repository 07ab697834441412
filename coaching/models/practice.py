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
    created_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    keep_until_on = models.DateField(null=True, blank=True)

    objects: ClassVar = PracticeQuerySet.as_manager()

    class Meta:
        constraints = [
            within("night_hour", 0, 23, "practice_night_hour_of_day"),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, keep_until_on__isnull=True)
                | Q(closed_at__isnull=False, keep_until_on__isnull=False),
                name="practice_closed_is_kept_until",
            ),
        ]

    def __str__(self) -> str:
        return str(self.uid)
