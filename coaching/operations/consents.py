"""What a client agreed to: given by themselves, or recorded by their coach on their behalf."""

import uuid
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from coaching.errors import NotFoundError
from coaching.models import Actor, Client, Consent, ConsentPurpose
from coaching.operations.audit import record_change, record_reads
from coaching.reads.clients import client_for


@dataclass(frozen=True, slots=True)
class GivenConsent:
    consent: Consent
    is_new: bool


@transaction.atomic
def give_consent(
    *, actor: Actor, client_uid: uuid.UUID, purpose: str, text_version: str, now: datetime
) -> GivenConsent:
    """Record a consent to one text; safe to repeat. One to another text takes the place of the earlier one.

    Raises NotFoundError.
    """
    client = _locked(actor, client_uid, purpose)
    standing = Consent.objects.filter(client=client, purpose=purpose, withdrawn_at__isnull=True)
    current = standing.first()
    if current is not None and current.text_version == text_version:
        return GivenConsent(current, is_new=False)
    standing.update(withdrawn_at=now)
    consent = Consent.objects.create(
        practice_id=client.practice_id,
        client=client,
        purpose=purpose,
        text_version=text_version,
        given_at=now,
        recorded_by_id=actor.account_id,
    )
    _audit(actor, client, consent, "give", now)
    return GivenConsent(consent, is_new=True)


@transaction.atomic
def withdraw_consent(*, actor: Actor, client_uid: uuid.UUID, purpose: str, now: datetime) -> None:
    """End a consent; safe to repeat. What is stored stays until it is erased. Raises NotFoundError."""
    client = _locked(actor, client_uid, purpose)
    given = Consent.objects.filter(client=client, purpose=purpose).order_by("-id").first()
    if given is None:
        raise NotFoundError("This consent was never given.")
    if given.withdrawn_at is None:
        given.withdrawn_at = now
        given.save(update_fields=["withdrawn_at"])
        _audit(actor, client, given, "withdraw", now)


def read_consents(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> QuerySet[Consent]:
    """Every consent of a client, standing or withdrawn. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="consent", now=now)
    return Consent.objects.filter(client=client).select_related("client")


def read_consent(*, actor: Actor, client_uid: uuid.UUID, purpose: str, now: datetime) -> Consent:
    """The latest consent for a purpose, which may be withdrawn. Raises NotFoundError."""
    consents = read_consents(actor=actor, client_uid=client_uid, now=now)
    latest = consents.filter(purpose=purpose).order_by("-id").first()
    if latest is None:
        raise NotFoundError("This consent was never given.")
    return latest


def _locked(actor: Actor, client_uid: uuid.UUID, purpose: str) -> Client:
    """The client, locked so that two consents at once follow each other."""
    if purpose not in ConsentPurpose.values:
        raise NotFoundError("This consent was never given.")
    return Client.objects.select_for_update().get(id=client_for(actor, client_uid).id)


def _audit(actor: Actor, client: Client, consent: Consent, action: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action=action,
        record_kind="consent",
        record_id=str(consent.uid),
        now=now,
        detail={"purpose": consent.purpose, "text_version": consent.text_version},
    )
