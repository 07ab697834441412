"""The person who trains, and what they agreed to."""

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import Length

from coaching.models.actor import Actor
from coaching.models.base import ListQuerySet, PracticeRow, one_of, within
from coaching.models.scoped import OfPractice
from coaching.models.session import LoadUnit

models.CharField.register_lookup(Length)


class TrainingStatus(models.TextChoices):
    NOVICE = "novice"
    INTERMEDIATE = "intermediate"
    ADVANCED = "advanced"


class ProgressionRule(models.TextChoices):
    """When the next step is due: at once, or only after two exposures in a row."""

    DOUBLE_PROGRESSION = "double_progression"
    TWO_FOR_TWO = "two_for_two"


class ClientQuerySet(ListQuerySet["Client"]):
    NARROWING = {"coach": "coach__uid", "training_status": "training_status"}

    def current(self) -> "ClientQuerySet":
        """Those who train here now."""
        return self.filter(archived_at__isnull=True)

    def visible_to(self, actor: Actor) -> "ClientQuerySet":
        """Whom the actor may see: themselves, own and covered clients, or the whole practice."""
        mine = self.filter(practice_id=actor.practice_id)
        if actor.client_id is not None:
            return mine.filter(id=actor.client_id)
        if actor.sees_all_clients:
            return mine
        if actor.is_service:
            return mine.filter(coach_id__in=actor.coach_ids)
        return mine.filter(Q(coach_id=actor.membership_id) | Q(coach__cover_id=actor.membership_id))

    def stopped(self) -> "ClientQuerySet":
        """Those who withdrew their consent to health data and gave none since: stored, and left alone."""
        given = Consent.objects.filter(client=OuterRef("pk"), purpose=ConsentPurpose.HEALTH_DATA)
        return self.filter(
            Exists(given.filter(withdrawn_at__isnull=False)), ~Exists(given.filter(withdrawn_at__isnull=True))
        )

    def processed(self) -> "ClientQuerySet":
        """Those whose health data nights and coaches may look at."""
        return self.exclude(pk__in=Client.objects.stopped().values("pk"))

    def dirty(self) -> "ClientQuerySet":
        """Those whose past changed after a night had seen it."""
        return self.filter(dirty_from_on__isnull=False)


class Client(PracticeRow):
    account = models.ForeignKey(
        "coaching.Account", null=True, on_delete=models.PROTECT, related_name="clients"
    )
    coach = models.ForeignKey("coaching.Membership", on_delete=models.PROTECT, related_name="clients")
    name = models.CharField(max_length=120)
    zone = models.CharField(max_length=64)
    country = models.CharField(max_length=2)
    emergency_text = models.CharField(max_length=200)
    birth_on = models.DateField(null=True, blank=True)
    guardian = models.CharField(max_length=200, blank=True)
    emergency_contact = models.CharField(max_length=200, blank=True)
    training_status = models.CharField(max_length=12, default=TrainingStatus.NOVICE)
    training_status_on = models.DateField(null=True, blank=True)
    progression_rule = models.CharField(max_length=20, default=ProgressionRule.DOUBLE_PROGRESSION)
    load_unit = models.CharField(max_length=2, default=LoadUnit.KG)
    private_note = models.CharField(max_length=2000, blank=True)
    audit_key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    dirty_from_on = models.DateField(null=True, blank=True)
    last_posted_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField()
    archived_at = models.DateTimeField(null=True, blank=True)
    # CASCADE: what is left of a duplicate goes with the person's record.
    merged_into = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.CASCADE, related_name="duplicates"
    )

    objects: ClassVar = ClientQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            one_of("training_status", TrainingStatus.values, "client_training_status_known"),
            one_of("progression_rule", ProgressionRule.values, "client_progression_rule_known"),
            one_of("load_unit", LoadUnit.values, "client_load_unit_known"),
            models.UniqueConstraint(
                fields=["practice", "account"],
                condition=Q(account__isnull=False, archived_at__isnull=True),
                name="client_one_current_per_account",
            ),
            models.CheckConstraint(condition=Q(name__length__gt=0), name="client_has_name"),
            models.CheckConstraint(
                condition=Q(merged_into__isnull=True) | Q(archived_at__isnull=False, account__isnull=True),
                name="client_merged_is_archived",
            ),
        ]
        indexes = [models.Index(fields=["practice", "dirty_from_on"], name="client_dirty_idx")]


class BodyMassQuerySet(ListQuerySet["BodyMass"]):
    NARROWING = {"from": "measured_on__gte", "until": "measured_on__lte"}


class BodyMass(OfPractice):
    practice_by = "client"

    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="body_masses", db_index=False)
    measured_on = models.DateField()
    body_mass_kg = models.FloatField()
    version = models.PositiveIntegerField(default=1)

    objects: ClassVar = BodyMassQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["client", "measured_on"], name="bodymass_one_a_day"),
            within("body_mass_kg", 10, 400, "bodymass_possible"),
        ]


class ConsentPurpose(models.TextChoices):
    HEALTH_DATA = "health_data"
    REFERRAL = "referral"


class ConsentQuerySet(ListQuerySet["Consent"]):
    NARROWING = {"purpose": "purpose"}


class Consent(PracticeRow):
    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="consents")
    purpose = models.CharField(max_length=20)
    text_version = models.CharField(max_length=40)
    given_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        "coaching.Account", null=True, on_delete=models.SET_NULL, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)  # goes on counting from one consent to the next

    objects: ClassVar = ConsentQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            one_of("purpose", ConsentPurpose.values, "consent_purpose_known"),
            models.UniqueConstraint(
                fields=["client", "purpose"],
                condition=Q(withdrawn_at__isnull=True),
                name="consent_one_standing_per_purpose",
            ),
        ]
