"""How long a practice keeps what: its owner says, the night does, some rows at a time."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypedDict

from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.db.models.functions import Coalesce, Greatest

from coaching.errors import ForbiddenError
from coaching.models import (
    Actor,
    Alert,
    AlertKind,
    AuditEvent,
    Client,
    Erasure,
    MailKind,
    MailRow,
    OutboxState,
    Practice,
    ScheduledSession,
    ScheduledStatus,
)
from coaching.operations.audit import record_change
from coaching.operations.audit_door import drop_before
from coaching.operations.versions import check_version

DELETED_AT_ONCE = 500
STEPS_A_NIGHT = 20
CLIENTS_A_NIGHT = 5


class PracticeChanges(TypedDict, total=False):
    """A merge patch: a key that is absent leaves its field as it is."""

    keeps_clients_years: int | None
    keeps_audit_years: int | None
    keeps_sent_mail_days: int | None
    keeps_tombstones_days: int | None


@dataclass(frozen=True, slots=True)
class OverAge:
    """How much of a practice is kept longer than its owner wants, and how much of that is held."""

    clients: int
    clients_held: int
    audit: int
    mails: int
    tombstones: int


@dataclass(frozen=True, slots=True)
class Dropped:
    audit: int
    mails: int
    tombstones: int


def practice_of(actor: Actor) -> Practice:
    """The actor's practice. Raises ForbiddenError for a client."""
    if not actor.is_coach:
        raise ForbiddenError("Only coaches see how the practice is set up.")
    return Practice.objects.get(id=actor.practice_id)


@transaction.atomic
def update_practice(
    *, actor: Actor, expected_version: int, changes: PracticeChanges, now: datetime
) -> Practice:
    """Set how long what is kept. Raises ForbiddenError, StaleVersionError."""
    if not actor.is_owner:
        raise ForbiddenError("Only the owner says how long what is kept.")
    practice = Practice.objects.select_for_update().get(id=actor.practice_id)
    check_version(practice, expected_version)
    for field, value in changes.items():
        setattr(practice, field, value)
    practice.version += 1
    practice.save(update_fields=[*changes, "version"])
    record_change(
        actor=actor,
        practice_id=practice.id,
        subject_key=None,
        action="update",
        record_kind="practice",
        record_id=str(practice.uid),
        now=now,
        detail={"fields": sorted(changes)},
    )
    return practice


def over_age(practice: Practice, now: datetime) -> OverAge:
    """What the next nights would delete; reads only."""
    return OverAge(
        clients=len(clients_over_age(practice, now)),
        clients_held=_clients_past(practice, now).filter(_is_held()).count(),
        audit=_old_audit(practice, now).count(),
        mails=_old_mails(practice, now).count(),
        tombstones=_old_tombstones(practice, now).count(),
    )


def clients_over_age(practice: Practice, now: datetime) -> list[Client]:
    """Whom the practice keeps no longer, oldest first; nobody whose red flag stands."""
    return list(_clients_past(practice, now).exclude(_is_held()).order_by(F("last_at"), "id"))


def drop_over_age(*, practice: Practice, now: datetime, steps: int = STEPS_A_NIGHT) -> Dropped:
    """Delete old trail, mail rows and tombstones, a bounded number in small transactions; safe to repeat."""
    dropped = Dropped(
        audit=_drop_audit(practice, now, steps),
        mails=_drop(_old_mails(practice, now), steps),
        tombstones=_drop(_old_tombstones(practice, now), steps),
    )
    for kind in ("audit", "mails", "tombstones"):
        n_rows = getattr(dropped, kind)
        if n_rows:
            record_change(
                actor=None,
                practice_id=practice.id,
                subject_key=None,
                action="retention",
                record_kind=kind,
                record_id="",
                now=now,
                detail={"rows": n_rows},
            )
    return dropped


def _drop_audit(practice: Practice, now: datetime, steps: int) -> int:
    """Through the door of the trail, which shuts after each step."""
    if practice.keeps_audit_years is None:
        return 0
    before = years_before(now, practice.keeps_audit_years)
    n_dropped = 0
    for _ in range(steps):
        n_step = drop_before(practice_id=practice.id, before=before, at_most=DELETED_AT_ONCE)
        n_dropped += n_step
        if n_step < DELETED_AT_ONCE:
            break
    return n_dropped


def _drop(rows: QuerySet[MailRow] | QuerySet[Erasure], steps: int) -> int:
    n_dropped = 0
    for _ in range(steps):
        some = list(rows.order_by("id").values_list("id", flat=True)[:DELETED_AT_ONCE])
        if not some:
            break
        rows.model._default_manager.filter(id__in=some).delete()
        n_dropped += len(some)
    return n_dropped


def _clients_past(practice: Practice, now: datetime) -> QuerySet[Client]:
    """Archived, or unheard of and without a plan, for longer than the practice keeps clients."""
    of_practice = Client.objects.filter(practice=practice).annotate(
        last_at=Greatest(
            "created_at", Coalesce("archived_at", "created_at"), Coalesce("last_posted_at", "created_at")
        )
    )
    if practice.keeps_clients_years is None:
        return of_practice.none()
    before = years_before(now, practice.keeps_clients_years)
    planned = ScheduledSession.objects.filter(
        practice=practice, status=ScheduledStatus.PLANNED, due_on__gte=before.date()
    )
    return of_practice.filter(last_at__lt=before).exclude(id__in=planned.values("client"))


def _is_held() -> Q:
    """A standing red flag holds the record: somebody may still have to ask what was said."""
    return Q(id__in=Alert.objects.filter(kind=AlertKind.RED_FLAG).standing().values("client"))


def _old_audit(practice: Practice, now: datetime) -> QuerySet[AuditEvent]:
    if practice.keeps_audit_years is None:
        return AuditEvent.objects.none()
    before = years_before(now, practice.keeps_audit_years)
    return AuditEvent.objects.filter(practice=practice, at__lt=before)


def _old_mails(practice: Practice, now: datetime) -> QuerySet[MailRow]:
    """Those of a red flag that stands stay: their keys keep the same mail from going out again."""
    if practice.keeps_sent_mail_days is None:
        return MailRow.objects.none()
    before = now - timedelta(days=practice.keeps_sent_mail_days)
    standing = Alert.objects.filter(practice=practice, kind=AlertKind.RED_FLAG).standing()
    of_standing = Q(kind=MailKind.URGENT, payload__alert__in=list(standing.values_list("id", flat=True)))
    old = MailRow.objects.filter(practice=practice, created_at__lt=before)
    return old.exclude(state=OutboxState.WAITING).exclude(of_standing)


def _old_tombstones(practice: Practice, now: datetime) -> QuerySet[Erasure]:
    if practice.keeps_tombstones_days is None:
        return Erasure.objects.none()
    before = now - timedelta(days=practice.keeps_tombstones_days)
    return Erasure.objects.filter(practice=practice, erased_at__lt=before)


def years_before(now: datetime, years: int) -> datetime:
    """The same moment so many calendar years ago; 29 February becomes the 28th."""
    try:
        return now.replace(year=now.year - years)
    except ValueError:
        return now.replace(year=now.year - years, day=28)
