"""Two records of one person made one: what the duplicate has goes to the record that stays."""

import uuid
from datetime import date, datetime
from typing import Any

from django.db import models, transaction
from django.db.models import F, Max, Q, QuerySet

from coaching.errors import ForbiddenError, InvalidError
from coaching.models import (
    Actor,
    Alert,
    AlertStatus,
    Assignment,
    BodyMass,
    CalendarFeed,
    Change,
    ChangeKind,
    Clearance,
    Client,
    Closing,
    Consent,
    ConsentPurpose,
    DeviceToken,
    Injury,
    InterventionNote,
    Invitation,
    JointDay,
    JointStress,
    LiftDay,
    NightClient,
    NightClientState,
    PainReport,
    Referral,
    ScheduledSession,
    Session,
    WebhookEvent,
)
from coaching.operations.audit import record_change
from coaching.operations.changes import Changed, note_changes, tell_anew
from coaching.operations.merging_checks import check_may_merge
from coaching.operations.rescoring import ask_for_rescoring
from coaching.operations.rollups import rebuild_days
from coaching.operations.versions import check_version
from coaching.operations.webhook_rows import AlertEvent, tell_webhooks
from coaching.reads.clients import client_for, local_today

MOVED: tuple[type[models.Model], ...] = (
    Session,
    PainReport,
    Injury,
    Clearance,
    InterventionNote,
    BodyMass,
    JointStress,
    Consent,
    Referral,
    Assignment,
    ScheduledSession,
    Alert,
    Invitation,
    DeviceToken,
)
FILLED_WHERE_EMPTY = ("account", "birth_on", "guardian", "emergency_contact")
DAYS_AT_ONCE = 200
CLOSE_NOTE = "The same alert stands with the record that this one was merged into."


@transaction.atomic
def merge_clients(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    duplicate_uid: uuid.UUID,
    expected_version: int,
    now: datetime,
) -> Client:
    """Give all that the duplicate has to the client, and archive what is left of it; there is no way back.

    Every row keeps its id. What both have and have differently is not decided here. Raises NotFoundError,
    ForbiddenError, StaleVersionError, InvalidError, GoneError, ConflictError in words.
    """
    client, duplicate = _locked_pair(actor, client_uid, duplicate_uid)
    check_version(client, expected_version)
    check_may_merge(client, duplicate, today=local_today(client, now))
    days = _days_of(duplicate)
    _settle_doubles(client, duplicate, now)
    for model in MOVED:
        _to_move(model, client, duplicate).update(client=client)
    _keep_one_calendar_feed(client, duplicate)
    _join_records(client, duplicate, now)
    for start in range(0, len(days), DAYS_AT_ONCE):
        rebuild_days(client=client, days=days[start : start + DAYS_AT_ONCE])
    if days:
        ask_for_rescoring(client=client, from_on=days[0])
    _tell(actor, client, duplicate, now)
    return Client.objects.select_related("coach__account").get(id=client.id)


def _locked_pair(actor: Actor, client_uid: uuid.UUID, duplicate_uid: uuid.UUID) -> tuple[Client, Client]:
    client, duplicate = client_for(actor, client_uid), client_for(actor, duplicate_uid)
    if not actor.is_owner:
        raise ForbiddenError("Only the owner merges two records.")
    if client.id == duplicate.id:
        raise InvalidError.at("duplicate", "same_client", "These are one record already.")
    pair = Client.objects.select_for_update(of=("self",)).filter(id__in=[client.id, duplicate.id])
    locked = {row.id: row for row in pair.select_related("practice").order_by("id")}
    return locked[client.id], locked[duplicate.id]


def _to_move(model: type[models.Model], client: Client, duplicate: Client) -> QuerySet[Any]:
    """All that the duplicate has; what the client has just the same stays where it is."""
    rows = model._default_manager.filter(client=duplicate)
    if model is BodyMass:
        rows = rows.exclude(measured_on__in=BodyMass.objects.filter(client=client).values("measured_on"))
    if model is JointStress:
        own = JointStress.objects.filter(client=client)
        rows = rows.exclude(id__in=[row.pk for row in rows if own.filter(_same_stress(row)).exists()])
    return rows


def _same_stress(row: Any) -> Q:
    return Q(exercise_id=row.exercise_id, joint=row.joint)


def _keep_one_calendar_feed(client: Client, duplicate: Client) -> None:
    if CalendarFeed.objects.filter(client=client).exists():
        CalendarFeed.objects.filter(client=duplicate).delete()
    else:
        CalendarFeed.objects.filter(client=duplicate).update(client=client)


def _days_of(duplicate: Client) -> list[date]:
    sessions = Session.objects.filter(client=duplicate).values_list("performed_on", flat=True)
    reports = PainReport.objects.filter(client=duplicate).values_list("felt_on", flat=True)
    return sorted({*sessions, *reports})


def _settle_doubles(client: Client, duplicate: Client, now: datetime) -> None:
    """What both have and may stand once: the checks have let through only what is the same."""
    for purpose in ConsentPurpose:
        _settle_consents(client, duplicate, purpose, now)
    _close_doubled_alerts(client, duplicate, now)
    Invitation.objects.filter(client=duplicate, accepted_at__isnull=True, expires_at__gt=now).update(
        expires_at=now
    )


def _settle_consents(client: Client, duplicate: Client, purpose: str, now: datetime) -> None:
    """Of two that stand the one recorded last goes on, as after a new text, above all versions."""
    both = Consent.objects.filter(client__in=[client, duplicate], purpose=purpose)
    newest = both.order_by("-id").first()
    if newest is None or len(set(both.values_list("client_id", flat=True))) == 1:
        return
    both.filter(withdrawn_at__isnull=True).exclude(id=newest.id).update(withdrawn_at=now)
    highest = both.aggregate(highest=Max("version"))["highest"]
    Consent.objects.filter(id=newest.id).update(version=highest + 1)


def _close_doubled_alerts(client: Client, duplicate: Client, now: datetime) -> None:
    standing = set(Alert.objects.filter(client=client).standing().values_list("kind", "target"))
    doubled = [
        alert
        for alert in Alert.objects.filter(client=duplicate).standing()
        if (alert.kind, alert.target) in standing
    ]
    for alert in doubled:
        alert.status, alert.closing, alert.close_note = AlertStatus.CLOSED, Closing.BY_COACH, CLOSE_NOTE
        alert.closed_on = local_today(client, now)
        alert.put_off_until_on = None
        alert.version += 1
        alert.save()
    told = [AlertEvent(alert, WebhookEvent.ALERT_CLOSED) for alert in doubled]
    tell_webhooks(practice_id=client.practice_id, told=told, now=now)


def _join_records(client: Client, duplicate: Client, now: datetime) -> None:
    """The record that stays keeps what it says; where it says nothing, the duplicate's word counts."""
    filled = {field: getattr(duplicate, field) for field in FILLED_WHERE_EMPTY if not getattr(client, field)}
    notes = [note for note in (client.private_note, duplicate.private_note) if note]
    posted = [at for at in (client.last_posted_at, duplicate.last_posted_at) if at is not None]
    Client.objects.filter(id=duplicate.id).update(
        account=None,
        merged_into=client,
        archived_at=duplicate.archived_at or now,
        dirty_from_on=None,
        version=F("version") + 1,
    )
    Client.objects.filter(merged_into=duplicate).update(merged_into=client)
    Client.objects.filter(id=client.id).update(
        **filled,
        private_note="\n\n".join(notes),
        last_posted_at=max(posted, default=None),
        version=F("version") + 1,
    )
    JointDay.objects.filter(client=duplicate).delete()
    LiftDay.objects.filter(client=duplicate).delete()
    NightClient.objects.filter(client=duplicate, state=NightClientState.TODO).delete()


def _tell(actor: Actor, client: Client, duplicate: Client, now: datetime) -> None:
    """The trail of both, and the feed: all of the client anew, and a tombstone for the duplicate."""
    for each, action, other in ((client, "merge", duplicate), (duplicate, "merge_away", client)):
        record_change(
            actor=actor,
            practice_id=each.practice_id,
            subject_key=each.audit_key,
            action=action,
            record_kind="client",
            record_id=str(each.uid),
            now=now,
            detail={"other": str(other.uid)},
        )
    of_duplicate = Change.objects.filter(client=duplicate).exclude(kind=ChangeKind.CLIENT)
    of_duplicate.filter(record_uid__in=Change.objects.filter(client=client).values("record_uid")).delete()
    of_duplicate.update(client=client)
    tell_anew(client_ids=[client.id])
    gone = Changed(duplicate.id, ChangeKind.CLIENT, duplicate.uid, is_deleted=True)
    note_changes(practice_id=client.practice_id, changed=[gone], now=now)
