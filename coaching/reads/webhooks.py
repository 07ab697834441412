"""The webhooks of a practice, and what became of their deliveries."""

import uuid

from coaching.errors import NotFoundError
from coaching.models import Actor, Webhook, WebhookDelivery
from coaching.models.base import ListQuerySet
from coaching.models.webhook import WebhookQuerySet


def webhooks_of(actor: Actor) -> WebhookQuerySet:
    return Webhook.objects.kept().filter(practice_id=actor.practice_id)


def webhook_for(actor: Actor, webhook_uid: uuid.UUID) -> Webhook:
    """Raises NotFoundError."""
    webhook = webhooks_of(actor).filter(uid=webhook_uid).first()
    if webhook is None:
        raise NotFoundError("There is no such webhook.")
    return webhook


def deliveries_of(actor: Actor, webhook_uid: uuid.UUID) -> ListQuerySet[WebhookDelivery]:
    """Raises NotFoundError."""
    rows = WebhookDelivery.objects.filter(webhook=webhook_for(actor, webhook_uid))
    return rows.select_related("alert")
