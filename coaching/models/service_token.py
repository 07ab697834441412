"""Tokens for dashboards and other programs of a practice: each may do what its scopes name, and no more."""

from datetime import datetime
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from coaching.models.base import ListQuerySet, PracticeRow
from coaching.models.change import ChangeKind
from coaching.models.membership import Role
from coaching.models.scoped import OfPractice
from coaching.models.service_scope import ServiceScope

# What the feed brings to a service is what its other scopes let it read; clearances to none.
SCOPE_OF_CHANGES: dict[ChangeKind, ServiceScope] = {
    ChangeKind.CLIENT: ServiceScope.CLIENTS_READ,
    ChangeKind.INJURY: ServiceScope.HISTORY_READ,
    ChangeKind.RESTRICTION: ServiceScope.HISTORY_READ,
    ChangeKind.INTERVENTION_NOTE: ServiceScope.HISTORY_READ,
    ChangeKind.ASSIGNMENT: ServiceScope.PLANS_READ,
    ChangeKind.SCHEDULED_SESSION: ServiceScope.PLANS_READ,
    ChangeKind.SESSION: ServiceScope.SESSIONS_READ,
    ChangeKind.PAIN_REPORT: ServiceScope.SESSIONS_READ,
    ChangeKind.ALERT: ServiceScope.ALERTS_READ,
}


class ServiceTokenQuerySet(ListQuerySet["ServiceToken"]):
    def kept(self) -> "ServiceTokenQuerySet":
        """Those that nobody has revoked; they may have run out."""
        return self.filter(revoked_at__isnull=True)

    def usable(self, at: datetime) -> "ServiceTokenQuerySet":
        """Those that open something: they stand, and who made them is still an owner of an open practice."""
        return self.kept().filter(
            expires_at__gt=at,
            made_by__left_at__isnull=True,
            made_by__role=Role.OWNER,
            practice__closed_at__isnull=True,
        )


class ServiceToken(PracticeRow):
    """Kept as a digest only. It acts in its maker's name and ends with the maker's ownership.

    A revoked one stays as a row, so that the trail can name it.
    """

    name = models.CharField(max_length=80)
    scopes = models.JSONField(default=list)
    sees_all_clients = models.BooleanField(default=False)
    coaches = models.ManyToManyField(
        "coaching.Membership", through="coaching.ServiceTokenCoach", related_name="+"
    )
    token_digest = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey("coaching.Membership", on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    objects: ClassVar = ServiceTokenQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            models.CheckConstraint(condition=~Q(name=""), name="servicetoken_has_name"),
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("created_at")), name="servicetoken_ends_after_it_begins"
            ),
        ]


class ServiceTokenCoach(OfPractice):
    """One of the coaches whose clients a token sees."""

    practice_by = "token"

    token = models.ForeignKey(ServiceToken, on_delete=models.CASCADE, related_name="+", db_index=False)
    coach = models.ForeignKey("coaching.Membership", on_delete=models.CASCADE, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["token", "coach"], name="servicetokencoach_named_once"),
        ]
