"""Reading alerts, scores and the sheet, each with the reading on the audit trail."""

import uuid
from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from coaching.errors import ForbiddenError, InvalidError, NotFoundError
from coaching.models import Actor, Alert, Client, Membership, Score
from coaching.models.base import ListQuerySet
from coaching.operations.alerts import visible_alert
from coaching.operations.audit import record_reads, record_reads_again
from coaching.reads.alerts import alerts_for, scores_for
from coaching.reads.clients import client_for
from coaching.reads.memberships import members_of
from coaching.reads.sheet import MorningSheet, SheetGround, sheet_ground, sheet_on


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


def open_sheet(*, actor: Actor, on: date | None, now: datetime, coach_uid: uuid.UUID | None) -> SheetGround:
    """What the actor's own morning sheet rests on, or the one of the coach that a service names.

    Nothing of it may be shown before one of the two below has put it on the trail. Without `on` it is of
    today. Raises ForbiddenError for a client, NotFoundError, InvalidError for a service that names nobody.
    """
    if actor.is_service:
        within = set(Client.objects.visible_to(actor).values_list("id", flat=True))
        membership = _named_coach(actor, coach_uid)
        return sheet_ground(membership=membership, on=on or _today(membership, now), within=within)
    if actor.membership_id is None:
        raise ForbiddenError("Only coaches have a morning sheet.")
    membership = members_of(actor).select_related("practice").get(id=actor.membership_id)
    if coach_uid not in (None, membership.uid):
        raise ForbiddenError("Coaches read their own morning sheet.")
    return sheet_ground(membership=membership, on=on or _today(membership, now))


def read_sheet(*, actor: Actor, ground: SheetGround, now: datetime) -> MorningSheet:
    """The whole sheet; everybody on it counts as read."""
    sheet = sheet_on(ground)
    note_sheet_shown(actor=actor, ground=ground, shown=sheet.clients_shown, now=now)
    return sheet


def note_sheet_shown(
    *, actor: Actor, ground: SheetGround, shown: Collection[uuid.UUID], now: datetime
) -> None:
    """Whoever holds the sheet already is told that it stands, and reads of these clients by that."""
    keys = [client.audit_key for client in ground.clients if client.uid in shown]
    record_reads_again(actor=actor, subject_keys=keys, record_kind="sheet", now=now)


def _today(membership: Membership, now: datetime) -> date:
    return now.astimezone(ZoneInfo(membership.practice.zone)).date()


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
