"""Referring a client to a clinician: written with the client's consent, read only while that stands."""

import uuid
from datetime import datetime

from django.db import transaction

from coaching.errors import ConsentMissingError, ForbiddenError, InvalidError
from coaching.models import Actor, Client, Consent, ConsentPurpose, Joint, Referral
from coaching.models.base import ListQuerySet
from coaching.operations.audit import record_change, record_reads
from coaching.operations.consents import record_consent
from coaching.operations.sites import check_site
from coaching.operations.standing import check_may_store
from coaching.operations.versions import Kept, looking_twice, twin_of
from coaching.reads.clients import client_for, local_today
from coaching.reads.referrals import ReferralSummary, referral_of, referral_summary, referrals_of

SINCE_ASKED = frozenset({"consent", "until_on"})


@looking_twice
@transaction.atomic
def write_referral(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    joint: str,
    side: str,
    question: str,
    consent_text_version: str = "",
    now: datetime,
    own_uid: uuid.UUID | None = None,
) -> Kept[Referral]:
    """Keep a referral that rests on the client's standing consent to be referred.

    With `consent_text_version` the coach records that consent for the client in the same step. Safe to
    repeat with an id of one's own; without, each call is a referral of its own. Raises NotFoundError,
    ForbiddenError, InvalidError, ConsentMissingError, GoneError, ConflictError.
    """
    client = client_for(actor, client_uid)
    if not actor.is_coach:
        raise ForbiddenError("Only a coach writes referrals.")
    check_may_store(client)
    _check_trended(joint, side)
    asked = Referral(
        uid=own_uid or uuid.uuid4(),
        practice_id=client.practice_id,
        client=client,
        joint=joint,
        side=side,
        question=question,
        until_on=local_today(client, now),
        referred_by_id=actor.account_id,
        created_at=now,
    )
    standing = twin_of(asked, visible=referrals_of(client), besides=SINCE_ASKED) if own_uid else None
    if standing is not None:
        return Kept(standing, is_new=False)
    if consent_text_version:
        record_consent(
            actor=actor,
            client_uid=client_uid,
            purpose=ConsentPurpose.REFERRAL,
            text_version=consent_text_version,
            now=now,
        )
    asked.consent = _standing_consent(client)
    asked.save(force_insert=True)
    _audit(actor, client, asked, now)
    return Kept(referrals_of(client).get(id=asked.id), is_new=True)


def read_referrals(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ListQuerySet[Referral]:
    """What was asked about a client so far. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="referral", now=now)
    return referrals_of(client)


def read_referral_summary(
    *, actor: Actor, client_uid: uuid.UUID, referral_uid: uuid.UUID, now: datetime
) -> ReferralSummary:
    """The page's content. A withdrawn consent ends what a coach may hand on, not what clients read of
    themselves.

    Raises NotFoundError, ConsentMissingError.
    """
    client = client_for(actor, client_uid)
    referral = referral_of(client, referral_uid)
    if actor.is_coach:
        _standing_consent(client)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="referral", now=now)
    return referral_summary(client, referral)


def _check_trended(joint: str, side: str) -> None:
    check_site(joint=joint, side=side)
    if joint == Joint.OTHER:
        raise InvalidError.at("joint", "not_trended", "Only a site with a history of its own is referred.")


def _standing_consent(client: Client) -> Consent:
    """Raises ConsentMissingError."""
    found = Consent.objects.filter(
        client=client, purpose=ConsentPurpose.REFERRAL, withdrawn_at__isnull=True
    ).first()
    if found is None:
        raise ConsentMissingError("Nothing goes to a clinician without the client's consent to be referred.")
    return found


def _audit(actor: Actor, client: Client, referral: Referral, now: datetime) -> None:
    """The question stays on the referral, where erasure reaches it."""
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action="create",
        record_kind="referral",
        record_id=str(referral.uid),
        now=now,
        detail={"consent": str(referral.consent.uid), "text_version": referral.consent.text_version},
    )
