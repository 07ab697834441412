"""Coaches and owners of a practice, and the invitations that bring people in."""

from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import Q

from coaching.models.base import ListQuerySet, PracticeRow, one_of, within


class Role(models.TextChoices):
    OWNER = "owner"
    COACH = "coach"
    CLIENT = "client"
    SERVICE = "service"  # a program with a service token; nobody is invited as one


class MembershipQuerySet(ListQuerySet["Membership"]):
    NARROWING = {"role": "role"}


class Membership(PracticeRow):
    account = models.ForeignKey("coaching.Account", on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=10)
    joined_at = models.DateTimeField()
    left_at = models.DateTimeField(null=True, blank=True)
    away_from_on = models.DateField(null=True, blank=True)
    away_until_on = models.DateField(null=True, blank=True)
    cover = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="covers_for"
    )
    wants_digest = models.BooleanField(default=True)
    weekly_sets_floor = models.FloatField(null=True, blank=True)
    weekly_sets_ceiling = models.FloatField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects: ClassVar = MembershipQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            one_of("role", [Role.OWNER, Role.COACH], "membership_role_known"),
            models.UniqueConstraint(
                fields=["practice", "account"],
                condition=Q(left_at__isnull=True),
                name="membership_one_current_per_account",
            ),
            models.CheckConstraint(
                # A CHECK that comes out as NULL passes: an end without a start has to be refused by name.
                condition=Q(away_until_on__isnull=True)
                | Q(away_from_on__isnull=False, away_until_on__gte=models.F("away_from_on")),
                name="membership_absence_in_order",
            ),
            within("weekly_sets_floor", 0, 100, "membership_sets_floor_possible", optional=True),
            within("weekly_sets_ceiling", 0, 100, "membership_sets_ceiling_possible", optional=True),
            models.CheckConstraint(
                condition=Q(weekly_sets_floor__isnull=True)
                | Q(weekly_sets_ceiling__isnull=True)
                | Q(weekly_sets_ceiling__gte=models.F("weekly_sets_floor")),
                name="membership_sets_floor_below_ceiling",
            ),
        ]

    def is_away(self, on: date) -> bool:
        return self.away_from_on is not None and self.away_from_on <= on <= (self.away_until_on or on)


class Invitation(PracticeRow):
    """A single-use link, kept as a digest only."""

    role = models.CharField(max_length=10)
    email = models.EmailField(max_length=254)
    client = models.ForeignKey(
        "coaching.Client", null=True, on_delete=models.CASCADE, related_name="invitations"
    )
    token_digest = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey("coaching.Account", null=True, on_delete=models.SET_NULL, related_name="+")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True)

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            one_of("role", [Role.OWNER, Role.COACH, Role.CLIENT], "invitation_role_known"),
            models.CheckConstraint(
                condition=Q(role=Role.CLIENT, client__isnull=False)
                | (~Q(role=Role.CLIENT) & Q(client__isnull=True)),
                name="invitation_client_only_for_clients",
            ),
        ]
