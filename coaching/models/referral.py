"""A client's history of one site, put before a clinician with a question."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from coaching.models.base import Joint, ListQuerySet, PracticeRow, site_is_possible


class ReferralQuerySet(ListQuerySet["Referral"]):
    NARROWING = {"from": "until_on__gte", "until": "until_on__lte", "joint": "joint", "side": "side"}


class Referral(PracticeRow):
    """What was asked, on which consent, and up to which day the summary tells."""

    client = models.ForeignKey("coaching.Client", on_delete=models.CASCADE, related_name="referrals")
    joint = models.CharField(max_length=20)
    side = models.CharField(max_length=10)
    question = models.CharField(max_length=600)
    # RESTRICT and not PROTECT: an erased client's consents and referrals go together.
    consent = models.ForeignKey("coaching.Consent", on_delete=models.RESTRICT, related_name="+")
    until_on = models.DateField()
    referred_by = models.ForeignKey(
        "coaching.Account", null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField()

    objects: ClassVar = ReferralQuerySet.as_manager()

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            site_is_possible("referral_site_possible"),
            models.CheckConstraint(
                condition=~Q(question="") & ~Q(joint=Joint.OTHER), name="referral_asks_about_a_trended_site"
            ),
        ]
