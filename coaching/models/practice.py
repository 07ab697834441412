"""The tenant: one coaching business."""

import uuid

from django.db import models

from coaching.models.base import within
from coaching.models.scoped import OfPractice


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

    class Meta:
        constraints = [within("night_hour", 0, 23, "practice_night_hour_of_day")]

    def __str__(self) -> str:
        return str(self.uid)
