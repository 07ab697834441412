"""Daily roll-ups, written with the session they come from and always recomputable from it."""

from django.db import models

from coaching.models.base import within
from coaching.models.scoped import OfPractice


class JointDay(OfPractice):
    """One client, site and day: exposure, and pain as the highest of during, after and next morning."""

    id = models.BigAutoField(primary_key=True)
    practice = models.ForeignKey("coaching.Practice", on_delete=models.PROTECT, related_name="+")
    client = models.ForeignKey(
        "coaching.Client", on_delete=models.CASCADE, related_name="joint_days", db_index=False
    )
    day_on = models.DateField()
    joint = models.CharField(max_length=20)
    side = models.CharField(max_length=10)
    joint_reps = models.FloatField(default=0)
    joint_load_kg = models.FloatField(default=0)
    pain = models.PositiveSmallIntegerField(null=True)
    pain_next_morning = models.PositiveSmallIntegerField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["client", "day_on", "joint", "side"], name="jointday_once"),
            within("pain", 0, 10, "jointday_pain_on_scale", optional=True),
        ]


class LiftDay(OfPractice):
    """One client, lift, side and local day: the best of its trustworthy work sets."""

    id = models.BigAutoField(primary_key=True)
    practice = models.ForeignKey("coaching.Practice", on_delete=models.PROTECT, related_name="+")
    client = models.ForeignKey(
        "coaching.Client", on_delete=models.CASCADE, related_name="lift_days", db_index=False
    )
    day_on = models.DateField()
    exercise = models.ForeignKey("coaching.Exercise", on_delete=models.PROTECT, related_name="+")
    side = models.CharField(max_length=5)
    track = models.CharField(max_length=70, default="fresh")
    e1rm_kg = models.FloatField(null=True)
    best_load_kg = models.FloatField(null=True)
    best_reps = models.PositiveSmallIntegerField(null=True)
    best_rir = models.FloatField(null=True)
    work_sets = models.PositiveSmallIntegerField(default=0)
    volume_load_kg = models.FloatField(default=0)
    is_pain_limited = models.BooleanField(default=False)
    is_deload = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["client", "day_on", "exercise", "side", "track"], name="liftday_once"
            ),
        ]
