"""An alert's life: opened once, updated by what is found, ended by the evidence, a coach or a clinician."""

import uuid
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from coaching.compute.alert_life import PATIENCE_NIGHTS
from coaching.errors import ForbiddenError, InvalidError
from coaching.models import (
    Actor,
    Alert,
    AlertKind,
    AlertStatus,
    ChangeKind,
    Clearance,
    Client,
    Closing,
    ServiceScope,
    WebhookEvent,
)
from coaching.operations.audit import record_change
from coaching.operations.changes import Changed, note_changes
from coaching.operations.standing import check_may_process
from coaching.operations.versions import check_version, not_there
from coaching.operations.webhook_rows import AlertEvent, tell_webhooks

REOPENS_AFTER_DAYS = 21
REOPENS_AT_PAIN_RISE = 2
# A post answers silence and a missing log: those end with the first look that no longer finds them.
CLOSES_AFTER_DAYS = {AlertKind.SILENT: 0, AlertKind.UNLOGGED: 0, AlertKind.OFF_PLAN: 3}
CLOSES_AFTER_DAYS_OTHERWISE = PATIENCE_NIGHTS
# What a coach has done with an alert stays with it when the night brings new numbers.
KEPT_EVIDENCE = ("at_reading", "worse_since_on")
EVENT_OF_ACTION = {
    "acknowledge": WebhookEvent.ALERT_ACKNOWLEDGED,
    "close": WebhookEvent.ALERT_CLOSED,
    "confirm_withdrawal": WebhookEvent.ALERT_CLOSED,
}


@dataclass(frozen=True, slots=True)
class Finding:
    """What a night or a post found about one client: enough to open an alert or to update it."""

    client_id: int
    kind: str
    target: str
    severity: int
    sentence: str
    evidence: dict[str, Any]
    method: str
    pain_level: float | None = None


@dataclass(frozen=True, slots=True)
class AlertChanges:
    opened: tuple[Alert, ...]
    updated: int
    closed: int


def apply_findings(
    *,
    practice_id: int,
    client_ids: Collection[int],
    findings: Iterable[Finding],
    kinds: Collection[str],
    on: date,
    now: datetime,
) -> AlertChanges:
    """Bring the alerts of these clients to what was found on `on`; safe to repeat.

    Only alerts of `kinds` may close for want of evidence: a night judges what it looked at.
    """
    known = _latest_by_target(client_ids, kinds)
    explained = _sites_told_with_volume(known.values(), on)
    to_open: list[Alert] = []
    to_update: list[Alert] = []
    worse: list[Alert] = []
    found_ids: set[int] = set()
    for finding in findings:
        alert = known.get((finding.client_id, finding.kind, finding.target))
        if alert is None or (alert.status == AlertStatus.CLOSED and _may_reopen(alert, finding, on)):
            is_told = (
                finding.kind == AlertKind.PAIN_RISING and (finding.client_id, finding.target) in explained
            )
            if not is_told:
                to_open.append(_new_alert(practice_id, finding, on, now))
            continue
        found_ids.add(alert.id)
        was_worse = alert.worse_since_on is not None
        to_update.append(_updated(alert, finding, on))
        if alert.worse_since_on is not None and not was_worse:
            worse.append(alert)
    faded = [row for row in known.values() if row.id not in found_ids and _has_faded(row, on)]
    for alert in faded:
        alert.status, alert.closed_on, alert.closing = AlertStatus.CLOSED, on, Closing.EVIDENCE_GONE
        alert.version += 1
    Alert.objects.bulk_create(to_open)
    fields = [
        "status",
        "severity",
        "sentence",
        "evidence",
        "method",
        "seen_on",
        "version",
        "closed_on",
        "closing",
    ]
    Alert.objects.bulk_update([*to_update, *faded], fields)
    changed = [Changed(row.client_id, ChangeKind.ALERT, row.uid) for row in [*to_open, *to_update, *faded]]
    note_changes(practice_id=practice_id, changed=changed, now=now)
    told = [
        *(AlertEvent(row, WebhookEvent.ALERT_OPENED) for row in to_open),
        *(AlertEvent(row, WebhookEvent.ALERT_WORSENED) for row in worse),
        *(AlertEvent(row, WebhookEvent.ALERT_CLOSED) for row in faded),
    ]
    tell_webhooks(practice_id=practice_id, told=told, now=now)
    return AlertChanges(tuple(to_open), len(to_update), len(faded))


def _latest_by_target(
    client_ids: Collection[int], kinds: Collection[str]
) -> dict[tuple[int, str, str], Alert]:
    rows = Alert.objects.filter(client_id__in=client_ids, kind__in=kinds).order_by("id").select_for_update()
    return {(row.client_id, row.kind, row.target): row for row in rows}


def _sites_told_with_volume(alerts: Iterable[Alert], on: date) -> set[tuple[int, str]]:
    """Client and site whose rising pain the coach is told already, together with its rising volume."""
    return {
        (alert.client_id, alert.target)
        for alert in alerts
        if alert.kind == AlertKind.PAIN_WITH_VOLUME
        and alert.status != AlertStatus.CLOSED
        and not _has_faded(alert, on)
    }


def _may_reopen(alert: Alert, finding: Finding, on: date) -> bool:
    """Opens as new after its own end; closed by hand, only once the evidence was gone or is worse."""
    if alert.closing != Closing.BY_COACH:
        return True
    if (on - alert.seen_on).days > REOPENS_AFTER_DAYS:
        return True
    level_at_closing = alert.evidence.get("pain_level")
    if finding.pain_level is None or level_at_closing is None:
        return False
    return finding.pain_level >= float(level_at_closing) + REOPENS_AT_PAIN_RISE


def _new_alert(practice_id: int, finding: Finding, on: date, now: datetime) -> Alert:
    return Alert(
        practice_id=practice_id,
        client_id=finding.client_id,
        kind=finding.kind,
        target=finding.target,
        severity=finding.severity,
        opened_on=on,
        opened_at=now,
        seen_on=on,
        sentence=finding.sentence,
        evidence=_evidence(finding),
        method=finding.method,
    )


def _evidence(finding: Finding) -> dict[str, Any]:
    return finding.evidence | {"pain_level": finding.pain_level}


def _note_reading(alert: Alert) -> None:
    """Remember what the coach has seen: worse is what lies above it."""
    level = {"severity": alert.severity, "pain_level": alert.evidence.get("pain_level")}
    kept = {key: value for key, value in alert.evidence.items() if key != "worse_since_on"}
    alert.evidence = kept | {"at_reading": level}


def _is_worse(alert: Alert, finding: Finding) -> bool:
    """Graver, or pain well above its level, than when the coach read it or put it off; never twice."""
    seen = alert.evidence.get("at_reading")
    if seen is None or alert.worse_since_on is not None:
        return False
    if finding.severity > seen["severity"]:
        return True
    if finding.pain_level is None or seen["pain_level"] is None:
        return False
    return bool(finding.pain_level >= seen["pain_level"] + REOPENS_AT_PAIN_RISE)


def _updated(alert: Alert, finding: Finding, on: date) -> Alert:
    """The same alert with today's evidence; one closed by hand only notes that it is still there.

    What has become worse since the coach read it or put it off comes back as open.
    """
    alert.seen_on = max(alert.seen_on, on)
    if alert.status == AlertStatus.CLOSED:
        return alert
    if alert.status == AlertStatus.PUT_OFF and alert.put_off_until_on and alert.put_off_until_on <= on:
        alert.status = AlertStatus.OPEN
    kept = {key: alert.evidence[key] for key in KEPT_EVIDENCE if key in alert.evidence}
    if _is_worse(alert, finding):
        alert.status = AlertStatus.OPEN
        kept["worse_since_on"] = str(on)
    alert.severity = finding.severity
    alert.sentence = finding.sentence
    alert.evidence = _evidence(finding) | kept
    alert.method = finding.method
    alert.version += 1
    return alert


def _has_faded(alert: Alert, on: date) -> bool:
    if alert.status == AlertStatus.CLOSED or alert.kind == AlertKind.RED_FLAG:
        return False
    patience = CLOSES_AFTER_DAYS.get(AlertKind(alert.kind), CLOSES_AFTER_DAYS_OTHERWISE)
    return (on - alert.seen_on).days >= patience


@transaction.atomic
def acknowledge(*, actor: Actor, alert_uid: uuid.UUID, expected_version: int, now: datetime) -> Alert:
    """Somebody has read it; it stays on the sheet, and is announced again only if it gets worse.

    That nobody read a red flag is mailed after four hours, so a program never says that somebody did.
    """
    alert = alert_to_change(actor, alert_uid, expected_version, is_reading=True)
    if actor.is_service and alert.kind == AlertKind.RED_FLAG:
        raise ForbiddenError("A red flag is acknowledged by a person.")
    if alert.status == AlertStatus.CLOSED:
        raise ForbiddenError("This alert is closed.")
    alert.status = AlertStatus.ACKNOWLEDGED
    alert.acknowledged_at = now
    alert.acknowledged_by_id = actor.account_id
    _note_reading(alert)
    return _save(alert, actor, "acknowledge", now)


@transaction.atomic
def put_off(
    *, actor: Actor, alert_uid: uuid.UUID, expected_version: int, until_on: date, today: date, now: datetime
) -> Alert:
    """Off the sheet until a date, or until it gets worse. Raises ForbiddenError for a red flag."""
    alert = alert_to_change(actor, alert_uid, expected_version, is_reading=True)
    if alert.kind == AlertKind.RED_FLAG:
        raise ForbiddenError("A red flag can be acknowledged, never put off.")
    if alert.status == AlertStatus.CLOSED:
        raise ForbiddenError("This alert is closed.")
    if not today < until_on <= today + timedelta(days=90):
        raise InvalidError.at("until_on", "out_of_range", "Put it off to a day within the next 90 days.")
    alert.status = AlertStatus.PUT_OFF
    alert.put_off_until_on = until_on
    _note_reading(alert)
    return _save(alert, actor, "put_off", now)


@transaction.atomic
def close(
    *, actor: Actor, alert_uid: uuid.UUID, expected_version: int, note: str, today: date, now: datetime
) -> Alert:
    """Close with a note. Raises ForbiddenError for a red flag, which only a clearance or a mistake ends."""
    alert = alert_to_change(actor, alert_uid, expected_version)
    if alert.kind == AlertKind.RED_FLAG:
        raise ForbiddenError("A red flag ends by a clinician's recorded clearance, not by a note.")
    if alert.status == AlertStatus.CLOSED:
        raise ForbiddenError("This alert is closed already.")
    alert.status, alert.closing = AlertStatus.CLOSED, Closing.BY_COACH
    alert.closed_on, alert.close_note = today, note
    return _save(alert, actor, "close", now)


@transaction.atomic
def ask_withdrawal(*, actor: Actor, alert_uid: uuid.UUID, now: datetime) -> Alert:
    """The client says that a red flag was entered by mistake; it stands until the coach confirms.

    Safe to repeat.
    """
    seen = visible_alert(actor, alert_uid)
    alert = Alert.objects.select_for_update(of=("self",)).select_related("client").get(id=seen.id)
    if alert.kind != AlertKind.RED_FLAG or alert.status == AlertStatus.CLOSED or actor.client_id is None:
        raise ForbiddenError("Only the client can say this, of a red flag that stands.")
    if alert.withdrawal_asked_at is not None:
        return alert
    alert.withdrawal_asked_at = now
    return _save(alert, actor, "ask_withdrawal", now)


@transaction.atomic
def confirm_withdrawal(
    *, actor: Actor, alert_uid: uuid.UUID, expected_version: int, reason: str, today: date, now: datetime
) -> Alert:
    """The coach confirms the mistake with a reason: stored as withdrawn, never as cleared."""
    alert = alert_to_change(actor, alert_uid, expected_version)
    if alert.kind != AlertKind.RED_FLAG or alert.withdrawal_asked_at is None:
        raise ForbiddenError("The client has not said that this was entered by mistake.")
    if alert.status == AlertStatus.CLOSED:
        raise ForbiddenError("This alert is closed already.")
    alert.status, alert.closing = AlertStatus.CLOSED, Closing.WITHDRAWN
    alert.closed_on, alert.close_note = today, reason
    return _save(alert, actor, "confirm_withdrawal", now)


def close_cleared_red_flags(*, clearance: Clearance, now: datetime) -> int:
    """End the standing red flags whose every symptom the clearance covers, at its site if it names one.

    A clearance says nothing about what was reported after it. Safe to repeat.
    """
    covered = set(clearance.flags)
    target = f"{clearance.joint}:{clearance.side}" if clearance.joint else None
    ended = 0
    standing = Alert.objects.filter(
        client=clearance.client, kind=AlertKind.RED_FLAG, seen_on__lte=clearance.cleared_on
    ).standing()
    for alert in standing.select_for_update():
        if target not in (None, alert.target) or not set(alert.evidence.get("flags", [])) <= covered:
            continue
        alert.status, alert.closing = AlertStatus.CLOSED, Closing.CLEARED
        alert.closed_on = clearance.cleared_on
        alert.version += 1
        alert.save(update_fields=["status", "closing", "closed_on", "version"])
        record_change(
            actor=None,
            practice_id=clearance.practice_id,
            subject_key=clearance.client.audit_key,
            action="clear",
            record_kind="alert",
            record_id=str(alert.uid),
            now=now,
            detail={"clearance": str(clearance.uid)},
        )
        told = [AlertEvent(alert, WebhookEvent.ALERT_CLOSED)]
        tell_webhooks(practice_id=clearance.practice_id, told=told, now=now)
        ended += 1
    return ended


def visible_alert(actor: Actor, alert_uid: uuid.UUID) -> Alert:
    """The alert, if the actor may see its client. Raises NotFoundError, GoneError, ConsentMissingError."""
    alert = (
        Alert.objects.filter(
            practice_id=actor.practice_id, uid=alert_uid, client__in=Client.objects.visible_to(actor)
        )
        .select_related("client")
        .first()
    )
    if alert is None:
        raise not_there(actor, kind=ChangeKind.ALERT, uid=alert_uid, what="alert")
    if actor.client_id is None:
        check_may_process(alert.client)
    return alert


def alert_to_change(
    actor: Actor, alert_uid: uuid.UUID, expected_version: int, *, is_reading: bool = False
) -> Alert:
    """The alert, locked, if the actor may change it and names its current version.

    `is_reading`: it is only acknowledged or put off, which a service with the scope may do as well.
    """
    alert = visible_alert(actor, alert_uid)
    if not actor.is_coach and not (is_reading and actor.has_scope(ServiceScope.ALERTS_WRITE)):
        raise ForbiddenError("Only a coach can do this.")
    locked = Alert.objects.select_for_update().select_related("client").get(id=alert.id)
    check_version(locked, expected_version)
    return locked


def _save(alert: Alert, actor: Actor, action: str, now: datetime) -> Alert:
    alert.version += 1
    alert.save()
    record_change(
        actor=actor,
        practice_id=alert.practice_id,
        subject_key=alert.client.audit_key,
        action=action,
        record_kind="alert",
        record_id=str(alert.uid),
        now=now,
    )
    if action in EVENT_OF_ACTION:
        told = [AlertEvent(alert, EVENT_OF_ACTION[action])]
        tell_webhooks(practice_id=alert.practice_id, told=told, now=now)
    return alert
