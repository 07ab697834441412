"""The second factor of an account: a time-based code (RFC 6238), and codes for when the phone is lost."""

from django.db import models


class SecondFactor(models.Model):
    """`secret_sealed` opens only with the service's secret; recovery codes are kept as digests."""

    account = models.OneToOneField(
        "coaching.Account", primary_key=True, on_delete=models.CASCADE, related_name="second_factor"
    )
    secret_sealed = models.CharField(max_length=300)
    made_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True)
    last_step = models.BigIntegerField(default=0)
    recovery_digests = models.JSONField(default=list)
