"""Reading alerts, scores and the sheet, each with the reading on the audit trail."""

import uuid
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from coaching.errors import ForbiddenError, InvalidError, NotFoundError
from coaching.models import Actor, Alert, Client, Membership, Score
from coaching.models.base import ListQuerySet
from coaching.operations.alerts import visible_alert
from coaching.operations.audit import record_reads
from coaching.reads.alerts import alerts_for, scores_for
from coaching.reads.clients import client_for
from coaching.reads.memberships import members_of
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


def read_sheet(*, actor: Actor, on: date, now: datetime, coach_uid: uuid.UUID | None = None) -> MorningSheet:
    """The actor's own morning sheet, or the one of the coach that a service names.

    Raises ForbiddenError for a client, NotFoundError, and InvalidError for a service that names nobody.
    """
    if actor.is_service:
        within = set(Client.objects.visible_to(actor).values_list("id", flat=True))
        sheet = morning_sheet(membership=_named_coach(actor, coach_uid), on=on, within=within)
    elif actor.membership_id is None:
        raise ForbiddenError("Only coaches have a morning sheet.")
    else:
        membership = members_of(actor).select_related("practice").get(id=actor.membership_id)
        if coach_uid not in (None, membership.uid):
            raise ForbiddenError("Coaches read their own morning sheet.")
        sheet = morning_sheet(membership=membership, on=on)
    keys = Client.objects.filter(practice_id=actor.practice_id, uid__in=sheet.clients_shown).values_list(
        "audit_key", flat=True
    )
    record_reads(actor=actor, subject_keys=list(keys), record_kind="sheet", now=now)
    return sheet


def _named_coach(actor: Actor, coach_uid: uuid.UUID | None) -> Membership:
    """Nobody sees a sheet by a service but of the coaches whose clients it may see."""
    if coach_uid is None:
        raise InvalidError.at("coach", "required", "Say whose morning sheet this is.")
    members = members_of(actor).select_related("practice")
    if not actor.sees_all_clients:
        members = members.filter(id__in=actor.coach_ids)
    found = members.filter(uid=coach_uid).first()
    if found is None:
        raise NotFoundError("There is no such member.")
    return found
