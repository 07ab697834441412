"""Alerts as coaches and clients may see them."""

import uuid
from collections.abc import Mapping
from typing import Any

from coaching.compute import evidence
from coaching.models import PAIN_KINDS, Actor, Alert, Client, Score
from coaching.models.base import ListQuerySet
from coaching.reads.clients import client_for


def alerts_for(actor: Actor, asked: Mapping[str, Any]) -> ListQuerySet[Alert]:
    """The alerts of everyone the actor may see, narrowed as asked; closed ones only when asked for.

    Raises NotFoundError for a client whom the actor may not see.
    """
    if "client" in asked:
        client_for(actor, asked["client"])
    rows = Alert.objects.filter(practice_id=actor.practice_id, client__in=Client.objects.visible_to(actor))
    standing = rows if "status" in asked else rows.standing()
    return standing.narrowed(asked).select_related("client")


def caution_of(alert: Alert) -> str:
    """The caution that every alert about pain carries."""
    return evidence.CAUTION if alert.kind in PAIN_KINDS else ""


def refer_out_of(alert: Alert) -> str:
    return evidence.refer_out(alert.client.emergency_text) if alert.kind in PAIN_KINDS else ""


def scores_for(actor: Actor, client_uid: uuid.UUID) -> ListQuerySet[Score]:
    """A client's scores, every night and revision."""
    return Score.objects.filter(client=client_for(actor, client_uid))
