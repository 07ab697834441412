"""Who reviewed the urgency of the red-flag symptoms, for which country and which version of the table."""

from django.db import models
from django.db.models import Q


class UrgencySignOff(models.Model):
    """A licensed clinician's review, recorded by the operator; rows are only ever added."""

    clinician_name = models.CharField(max_length=120)
    clinician_profession = models.CharField(max_length=80)
    signed_on = models.DateField()
    country = models.CharField(max_length=2)
    table_version = models.CharField(max_length=10)
    recorded_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(clinician_name="") & ~Q(clinician_profession="") & ~Q(country=""),
                name="urgencysignoff_says_who_and_where",
            ),
        ]
