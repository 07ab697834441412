"""What the migrations of this app lead to: one of each change that a table in use can take."""

from django.db import models
from django.db.models import Q


class Gym(models.Model):
    id = models.BigAutoField(primary_key=True)


class Lift(models.Model):
    id = models.BigAutoField(primary_key=True)
    name = models.CharField(max_length=40)
    reps = models.IntegerField()
    rir = models.IntegerField(db_default=0)
    seconds = models.IntegerField(null=True)
    gym = models.ForeignKey(Gym, models.PROTECT, null=True, db_index=False)

    class Meta:
        indexes = [models.Index(fields=["reps"], name="trial_lift_reps_idx")]
        constraints = [
            models.UniqueConstraint(fields=["name"], name="trial_lift_name_once"),
            models.UniqueConstraint(fields=["reps"], condition=Q(rir__gt=8), name="trial_lift_easy_once"),
            models.CheckConstraint(condition=Q(reps__gte=0), name="trial_lift_reps_possible"),
        ]
