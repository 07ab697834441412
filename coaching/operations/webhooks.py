"""Webhooks as owners keep them: where to tell of which events, and the secret that signs what is sent."""

import base64
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypedDict

from django.db import transaction

from coaching.errors import ConflictError, ForbiddenError
from coaching.models import TEST_EVENT, Actor, OutboxState, Practice, Webhook, WebhookDelivery
from coaching.models.webhook import new_salt, signing_key
from coaching.operations.audit import record_change
from coaching.operations.versions import check_version
from coaching.reads.webhooks import webhook_for, webhooks_of

WEBHOOKS_AT_MOST = 10


class WebhookChanges(TypedDict, total=False):
    """A merge patch: a key that is absent leaves its field as it is."""

    address: str
    events: list[str]
    is_active: bool


@dataclass(frozen=True, slots=True)
class SecretShown:
    """A webhook with its secret, which is never shown again."""

    webhook: Webhook
    secret: str


@transaction.atomic
def register_webhook(
    *, actor: Actor, address: str, events: list[str], is_active: bool, now: datetime
) -> SecretShown:
    """Tell this address of these events from now on. Raises ForbiddenError, ConflictError when it is full."""
    _check_is_owner(actor)
    Practice.objects.select_for_update(no_key=True).get(id=actor.practice_id)
    if webhooks_of(actor).count() >= WEBHOOKS_AT_MOST:
        raise ConflictError(f"A practice has at most {WEBHOOKS_AT_MOST} webhooks.")
    webhook = Webhook.objects.create(
        practice_id=actor.practice_id,
        address=address,
        events=events,
        is_active=is_active,
        salt=new_salt(),
        created_at=now,
    )
    _audit(actor, webhook, "create", now)
    return _with_secret(webhook)


@transaction.atomic
def update_webhook(
    *, actor: Actor, webhook_uid: uuid.UUID, expected_version: int, changes: WebhookChanges, now: datetime
) -> Webhook:
    """Change address, events or whether it is on; what failed before counts no more.

    Raises ForbiddenError, NotFoundError, StaleVersionError.
    """
    webhook = _locked(actor, webhook_uid, expected_version)
    for field, value in changes.items():
        setattr(webhook, field, value)
    if "address" in changes or "is_active" in changes:
        webhook.switched_off = "" if webhook.is_active else webhook.switched_off
        webhook.failures, webhook.failing_since_at, webhook.rests_until_at = 0, None, None
    webhook.version += 1
    webhook.save()
    _audit(actor, webhook, "update", now)
    return webhook


@transaction.atomic
def rotate_secret(
    *, actor: Actor, webhook_uid: uuid.UUID, expected_version: int, overlap: timedelta, now: datetime
) -> SecretShown:
    """A new secret; the former one signs along for `overlap`, and the one before that no more."""
    webhook = _locked(actor, webhook_uid, expected_version)
    webhook.former_salt, webhook.former_salt_until_at = webhook.salt, now + overlap
    webhook.salt = new_salt()
    webhook.version += 1
    webhook.save()
    _audit(actor, webhook, "rotate_secret", now)
    return _with_secret(webhook)


@transaction.atomic
def remove_webhook(*, actor: Actor, webhook_uid: uuid.UUID, expected_version: int, now: datetime) -> None:
    """Nothing is sent there any more; its rows go with the next ticks."""
    webhook = _locked(actor, webhook_uid, expected_version)
    webhook.is_active, webhook.removed_at = False, now
    webhook.version += 1
    webhook.save()
    _audit(actor, webhook, "delete", now)


@transaction.atomic
def send_test(*, actor: Actor, webhook_uid: uuid.UUID, now: datetime) -> WebhookDelivery:
    """An event that tells nothing, sent with the next tick even if the address was at rest.

    Raises ConflictError while the webhook is off or an earlier test still waits.
    """
    webhook = _locked(actor, webhook_uid)
    if not webhook.is_active:
        raise ConflictError("This webhook is switched off.")
    if webhook.deliveries.filter(event=TEST_EVENT, state=OutboxState.WAITING).exists():
        raise ConflictError("An earlier test event still waits to be sent.")
    webhook.rests_until_at = None
    webhook.save(update_fields=["rests_until_at"])
    _audit(actor, webhook, "test", now)
    return WebhookDelivery.objects.create(
        practice_id=webhook.practice_id,
        webhook=webhook,
        event=TEST_EVENT,
        event_key=f"{TEST_EVENT}:{uuid.uuid4()}",
        created_at=now,
        next_at=now,
    )


def _locked(actor: Actor, webhook_uid: uuid.UUID, expected_version: int | None = None) -> Webhook:
    _check_is_owner(actor)
    seen = webhook_for(actor, webhook_uid)
    webhook = Webhook.objects.select_for_update(no_key=True).get(id=seen.id)
    if expected_version is not None:
        check_version(webhook, expected_version)
    return webhook


def _check_is_owner(actor: Actor) -> None:
    if not actor.is_owner:
        raise ForbiddenError("Only the owner keeps webhooks.")


def _with_secret(webhook: Webhook) -> SecretShown:
    return SecretShown(webhook, f"whsec_{base64.b64encode(signing_key(webhook.salt)).decode()}")


def _audit(actor: Actor, webhook: Webhook, action: str, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=webhook.practice_id,
        subject_key=None,
        action=action,
        record_kind="webhook",
        record_id=str(webhook.uid),
        now=now,
    )
