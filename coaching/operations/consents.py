"""What a client agreed to: given by themselves, or recorded by their coach on their behalf."""

import uuid
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from coaching.errors import NotFoundError
from coaching.models import (
    Actor,
    Client,
    Consent,
    ConsentPurpose,
    NightClient,
    NightClientState,
    OutboxState,
    WebhookDelivery,
)
from coaching.models.base import ListQuerySet
from coaching.operations.audit import record_change, record_reads
from coaching.operations.changes import tell_anew
from coaching.operations.versions import check_may_replace, check_version
from coaching.reads.clients import client_for


@dataclass(frozen=True, slots=True)
class GivenConsent:
    consent: Consent
    is_new: bool


@transaction.atomic
def give_consent(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    purpose: str,
    text_version: str,
    now: datetime,
    expected_version: int | None = None,
) -> GivenConsent:
    """Record a consent to one text; safe to repeat. One to another text takes the place of the earlier one.

    Once there is one, standing or withdrawn, another needs its version: what a device sends late must not
    undo a withdrawal. Raises NotFoundError, ConflictError, StaleVersionError.
    """
    client = _locked(actor, client_uid, purpose)
    latest = _latest(client, purpose)
    if latest is None and expected_version is not None:
        raise NotFoundError("This consent was never given.")
    if latest is not None and not _is_standing(latest, text_version):
        check_may_replace(latest, expected_version)
    return _given(actor, client, latest, purpose, text_version, now)


@transaction.atomic
def record_consent(
    *, actor: Actor, client_uid: uuid.UUID, purpose: str, text_version: str, now: datetime
) -> GivenConsent:
    """The same by a coach who has the client before them, whatever was recorded earlier."""
    client = _locked(actor, client_uid, purpose)
    return _given(actor, client, _latest(client, purpose), purpose, text_version, now)


def _latest(client: Client, purpose: str) -> Consent | None:
    return Consent.objects.filter(client=client, purpose=purpose).order_by("-id").first()


def _is_standing(consent: Consent, text_version: str) -> bool:
    return consent.withdrawn_at is None and consent.text_version == text_version


def _given(
    actor: Actor, client: Client, latest: Consent | None, purpose: str, text_version: str, now: datetime
) -> GivenConsent:
    if latest is not None and _is_standing(latest, text_version):
        return GivenConsent(latest, is_new=False)
    if latest is not None and latest.withdrawn_at is None:
        Consent.objects.filter(id=latest.id).update(withdrawn_at=now)
    consent = Consent.objects.create(
        practice_id=client.practice_id,
        client=client,
        purpose=purpose,
        text_version=text_version,
        given_at=now,
        recorded_by_id=actor.account_id,
        version=latest.version + 1 if latest else 1,
    )
    _audit(actor, client, consent, "give", now)
    if purpose == ConsentPurpose.HEALTH_DATA and latest is not None and latest.withdrawn_at is not None:
        tell_anew(client_ids=[client.id])  # what coaches were not told meanwhile
    return GivenConsent(consent, is_new=True)


@transaction.atomic
def withdraw_consent(
    *, actor: Actor, client_uid: uuid.UUID, purpose: str, now: datetime, expected_version: int | None = None
) -> None:
    """End a consent; safe to repeat. What is stored stays until it is erased, and rests until then.

    No version need be named: withdrawing errs to the safe side. Raises NotFoundError, StaleVersionError.
    """
    client = _locked(actor, client_uid, purpose)
    given = _latest(client, purpose)
    if given is None:
        raise NotFoundError("This consent was never given.")
    if given.withdrawn_at is not None:
        return
    if expected_version is not None:
        check_version(given, expected_version)
    given.withdrawn_at = now
    given.version += 1
    given.save(update_fields=["withdrawn_at", "version"])
    if purpose == ConsentPurpose.HEALTH_DATA:
        _stop_what_is_under_way(client)
    _audit(actor, client, given, "withdraw", now)


def _stop_what_is_under_way(client: Client) -> None:
    """The night that runs passes the client by, and what waits to be sent about them is not sent."""
    NightClient.objects.filter(client=client, state=NightClientState.TODO).delete()
    Client.objects.filter(id=client.id).update(dirty_from_on=None)
    waiting = WebhookDelivery.objects.filter(alert__client=client, state=OutboxState.WAITING)
    waiting.update(state=OutboxState.DEAD, error_code="consent_withdrawn")


def read_consents(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ListQuerySet[Consent]:
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
