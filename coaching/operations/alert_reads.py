"""Reading alerts, scores and the sheet, each with the reading on the audit trail."""

import uuid
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from coaching.errors import ForbiddenError
from coaching.models import Actor, Alert, Client, Membership, Score
from coaching.models.base import ListQuerySet
from coaching.operations.alerts import visible_alert
from coaching.operations.audit import record_reads
from coaching.reads.alerts import alerts_for, scores_for
from coaching.reads.clients import client_for
from coaching.reads.sheet import MorningSheet, morning_sheet


def read_alert(*, actor: Actor, alert_uid: uuid.UUID, now: datetime) -> Alert:
    """One alert. Raises NotFoundError."""
    alert = visible_alert(actor, alert_uid)
    record_reads(actor=actor, subject_keys=[alert.client.audit_key], record_kind="alert", now=now)
    return alert


def read_alerts(*, actor: Actor, asked: Mapping[str, Any], now: datetime) -> ListQuerySet[Alert]:
    """Alerts of those the actor may see; everyone who has one counts as read."""
    rows = alerts_for(actor, asked)
    if actor.client_id is None and "client" not in asked:
        rows = rows.filter(client__in=Client.objects.processed())
    keys = Client.objects.filter(id__in=rows.values("client_id")).values_list("audit_key", flat=True)
    record_reads(actor=actor, subject_keys=list(keys), record_kind="alert", now=now)
    return rows


def read_scores(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ListQuerySet[Score]:
    """A client's scores. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="score", now=now)
    return scores_for(actor, client_uid)


def read_sheet(*, actor: Actor, on: date, now: datetime) -> MorningSheet:
    """The actor's own morning sheet. Raises ForbiddenError for a client."""
    if actor.membership_id is None:
        raise ForbiddenError("Only coaches have a morning sheet.")
    membership = Membership.objects.select_related("practice", "account").get(id=actor.membership_id)
    sheet = morning_sheet(membership=membership, on=on)
    keys = Client.objects.filter(practice_id=actor.practice_id, uid__in=sheet.clients_shown).values_list(
        "audit_key", flat=True
    )
    record_reads(actor=actor, subject_keys=list(keys), record_kind="sheet", now=now)
    return sheet
