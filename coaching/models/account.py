"""Who signs in, and from which device."""

import uuid
from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from knox.models import AbstractAuthToken, AuthTokenManager

from coaching.models.scoped import OfPractice, ScopedQuerySet


class AccountManager(BaseUserManager["Account"]):
    def named(self, email: str) -> "Account | None":
        """The account with this address, whatever its case; a database may take a dotless i for an i."""
        same = self.filter(email__iexact=email.strip()).first()
        return same if email.isascii() else None


class Account(AbstractBaseUser):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(max_length=254)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects: ClassVar[AccountManager] = AccountManager()

    class Meta:
        constraints = [models.UniqueConstraint(Lower("email"), name="account_email_unique_without_case")]

    def __str__(self) -> str:
        return str(self.id)

    @property
    def has_second_factor(self) -> bool:
        factor = getattr(self, "second_factor", None)
        return factor is not None and factor.confirmed_at is not None


class DeviceTokenManager(AuthTokenManager.from_queryset(ScopedQuerySet)):  # type: ignore[misc]  # knox is untyped
    """As knox makes tokens, bound to the practice like every other query."""


class DeviceToken(AbstractAuthToken, OfPractice):  # type: ignore[misc]  # knox is untyped
    """One signed-in device; the token names the practice, and who the bearer is there."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    practice = models.ForeignKey("coaching.Practice", on_delete=models.CASCADE, related_name="+")
    membership = models.ForeignKey(
        "coaching.Membership", null=True, on_delete=models.CASCADE, related_name="+"
    )
    client = models.ForeignKey("coaching.Client", null=True, on_delete=models.CASCADE, related_name="+")
    device_name = models.CharField(max_length=80)
    last_used_at = models.DateTimeField(null=True)

    objects: ClassVar[DeviceTokenManager] = DeviceTokenManager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(membership__isnull=True, client__isnull=False)
                | Q(membership__isnull=False, client__isnull=True),
                name="devicetoken_is_of_member_or_client",
            ),
        ]


class SignInFailures(models.Model):
    """Failed sign-ins counted per account digest or address, in 15-minute windows."""

    key = models.CharField(max_length=80)
    window_started_at = models.DateTimeField()
    failures = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["key", "window_started_at"], name="signinfailures_key_window_unique"
            ),
        ]
