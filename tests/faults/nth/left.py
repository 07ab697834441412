"""What a run leaves: its rows as anybody could see them, and whatever of it must not be so."""

import json
from collections import Counter
from datetime import datetime
from typing import Any

from django.db.models import Model

from coaching.emails.message import message_id
from coaching.models import (
    Alert,
    AuditEvent,
    Change,
    Client,
    JointDay,
    LiftDay,
    LoggedSet,
    MailRow,
    Night,
    NightClient,
    NightClientState,
    NightStatus,
    OutboxState,
    PainReport,
    Practice,
    Score,
    Session,
    WebhookDelivery,
)
from coaching.models.scope import across_practices
from coaching.operations.recompute import compare_practice
from coaching.reads.invariants import broken_rules
from tests.faults.nth.far_side import taken

# All that two runs have in common: neither ids that the database gives, nor times, nor random ids.
COMPARED: dict[type[Model], tuple[str, ...]] = {
    Night: (
        "practice_id",
        "night_on",
        "status",
        "clients_total",
        "clients_scored",
        "clients_failed",
        "alerts_opened",
        "alerts_closed",
    ),
    NightClient: ("night__night_on", "client_id", "revision", "state"),
    Score: (
        "client_id",
        "night_on",
        "revision",
        "adherence_low",
        "adherence_high",
        "sessions_due",
        "sessions_done",
        "sessions_unknown",
        "details",
        "method",
    ),
    Alert: (
        "client_id",
        "kind",
        "target",
        "status",
        "severity",
        "opened_on",
        "seen_on",
        "sentence",
        "evidence",
        "version",
        "method",
    ),
    MailRow: ("practice_id", "kind", "recipient", "state"),
    WebhookDelivery: ("webhook_id", "event", "alert__client_id", "alert__kind", "alert__target", "state"),
    Session: ("uid", "client_id", "performed_at", "note", "content_hash", "version", "work_sets"),
    LoggedSet: ("uid", "session__uid", "exercise_id", "position", "load_thousandths", "reps", "rir"),
    PainReport: ("uid", "session__uid", "client_id", "felt_on", "moment", "pain", "symptoms", "version"),
    JointDay: ("client_id", "day_on", "joint", "side", "joint_reps", "joint_load_kg", "pain"),
    LiftDay: ("client_id", "day_on", "exercise_id", "side", "track", "e1rm_kg", "best_load_kg", "work_sets"),
    Change: ("client_id", "kind", "is_deleted"),
    AuditEvent: ("subject_key", "action", "record_kind"),
    Client: ("id", "dirty_from_on", "version"),
}
Rows = Counter[str]


@across_practices("a run is held against another")
def rows_left() -> Rows:
    """Every row of every table that a run writes, with how often it is there."""
    found: Rows = Counter()
    for model, names in COMPARED.items():
        for row in model._default_manager.values_list(*names):
            found[f"{model.__name__} {json.dumps(row, default=str)}"] += 1
    return found


@across_practices("whether anything is left to do")
def is_whole() -> bool:
    """No night, mail, webhook or client waits for another tick."""
    return not (
        Night.objects.filter(status__in=[NightStatus.DUE, NightStatus.RUNNING]).exists()
        or MailRow.objects.filter(state=OutboxState.WAITING).exists()
        or WebhookDelivery.objects.filter(state=OutboxState.WAITING).exists()
        or Client.objects.dirty().exists()
    )


@across_practices("the invariants of every practice")
def complaints(now: datetime) -> list[str]:
    """What must never be so, whatever struck."""
    found = []
    for practice in Practice.objects.all():
        found += [f"broken: {each}" for each in broken_rules(practice, now=now) if each is not None]
    found += [f"set aside: client {row.client_id}" for row in _set_aside()]
    found += [f"nobody was handed {row.kind} {row.key}" for row in _not_handed_over()]
    return found


@across_practices("roll-ups and scores of every practice")
def differences_from_raw_rows(now: datetime) -> list[str]:
    """Asked of the undisturbed run alone: where all rows are those of that run, so is this answer."""
    found = []
    for practice in Practice.objects.all():
        found += compare_practice(practice, now=now, tell=lambda _: None).differences
    return [f"not as computed anew: {each}" for each in found]


def _set_aside() -> list[NightClient]:
    return list(NightClient.objects.filter(state=NightClientState.FAILED))


def _not_handed_over() -> list[MailRow]:
    mails = taken("mail")
    sent = MailRow.objects.filter(state=OutboxState.SENT)
    return [row for row in sent if not mails[message_id(row.key)]]


def handed_over_again() -> int:
    """How many mails and webhooks the other side has taken beyond the first of each."""
    return sum(number - 1 for what in ("mail", "webhook") for number in taken(what).values())


def lost_and_doubled(left: Rows, expected: Rows) -> tuple[list[str], list[str]]:
    lost: Any = expected - left
    doubled: Any = left - expected
    return sorted(lost.elements()), sorted(doubled.elements())
