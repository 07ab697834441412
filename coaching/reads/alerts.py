"""Alerts as coaches and clients may see them."""

import uuid

from django.db.models import QuerySet

from coaching.compute import evidence
from coaching.models import PAIN_KINDS, Actor, Alert, AlertStatus, Client, Score
from coaching.reads.clients import client_for


def alerts_for(
    actor: Actor, *, status: str | None, kind: str | None, client_uid: uuid.UUID | None
) -> QuerySet[Alert]:
    """The alerts of everyone the actor may see, narrowed as asked; closed ones only when asked for."""
    rows = Alert.objects.filter(
        practice_id=actor.practice_id, client__in=Client.objects.visible_to(actor)
    ).select_related("client")
    rows = rows.exclude(status=AlertStatus.CLOSED) if status is None else rows.filter(status=status)
    if kind is not None:
        rows = rows.filter(kind=kind)
    if client_uid is not None:
        rows = rows.filter(client=client_for(actor, client_uid))
    return rows


def caution_of(alert: Alert) -> str:
    """The caution that every alert about pain carries."""
    return evidence.CAUTION if alert.kind in PAIN_KINDS else ""


def refer_out_of(alert: Alert) -> str:
    return evidence.refer_out(alert.client.emergency_text) if alert.kind in PAIN_KINDS else ""


def scores_for(actor: Actor, client_uid: uuid.UUID) -> QuerySet[Score]:
    """A client's scores, every night and revision."""
    return Score.objects.filter(client=client_for(actor, client_uid))
