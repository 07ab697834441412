"""Webhook deliveries in the outbox: written with what they tell, claimed, marked with what became of them."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Case, F, Q, QuerySet, Value, When

from coaching.models import Alert, OutboxState, SwitchedOff, Webhook, WebhookDelivery, WebhookEvent
from coaching.models.scope import across_practices
from coaching.operations.audit import record_change
from coaching.operations.outbox_rows import (
    Failure,
    claim_first,
    due_at,
    mark_failed,
    mark_sent,
    set_aside_what_kills,
)

# An address that fails rests as a whole, however much waits for it; the last step is for good.
RESTS = [timedelta(minutes=1), timedelta(minutes=5), timedelta(minutes=30), timedelta(hours=1)]
RETRY_AFTER_AT_MOST = timedelta(hours=6)
SWITCHED_OFF_AFTER = timedelta(days=5)
KEPT_FOR = timedelta(days=30)
REMOVED_STAYS_FOR = timedelta(hours=1)  # far longer than any transaction that may still write for it
DROPPED_AT_ONCE = 500
GONE = 410


@dataclass(frozen=True, slots=True)
class AlertEvent:
    alert: Alert
    event: WebhookEvent


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a delivery was not taken: the status of the answer, or a code if there was none."""

    code: str
    status_code: int | None = None
    retry_after: timedelta | None = None


def tell_webhooks(*, practice_id: int, told: Collection[AlertEvent], now: datetime) -> None:
    """Write what the practice's addresses want to know, in the caller's transaction; safe to repeat."""
    if not told:
        return
    rows = [
        WebhookDelivery(
            practice_id=practice_id,
            webhook=webhook,
            alert=each.alert,
            event=each.event,
            event_key=_event_key(each),
            created_at=now,
            next_at=now,
        )
        for webhook in Webhook.objects.wanting(practice_id, {each.event for each in told})
        for each in told
        if each.event in webhook.events
    ]
    WebhookDelivery.objects.bulk_create(rows, ignore_conflicts=True)


def _event_key(told: AlertEvent) -> str:
    """An alert opens and closes once; it may get worse and be read again at each of its versions."""
    happens_once = told.event in (WebhookEvent.ALERT_OPENED, WebhookEvent.ALERT_CLOSED)
    return f"{told.event}:{told.alert.uid}" + ("" if happens_once else f":{told.alert.version}")


def due_deliveries(now: datetime) -> QuerySet[WebhookDelivery]:
    """What is due at addresses that are switched on and not at rest."""
    is_rested = Q(webhook__rests_until_at__isnull=True) | Q(webhook__rests_until_at__lte=now)
    return due_at(WebhookDelivery.objects.all(), now).filter(is_rested, webhook__is_active=True)


@across_practices("which delivery is due")
def claim_delivery(*, now: datetime) -> WebhookDelivery | None:
    """Claim one delivery: of the address that has waited longest, those that fail after all others."""
    with transaction.atomic():
        due = due_at(WebhookDelivery.objects.all(), now)
        set_aside_what_kills(due)
        due.filter(webhook__is_active=False).update(state=OutboxState.DEAD, error_code="switched_off")
        in_order = due_deliveries(now).order_by(
            Case(When(webhook__failures=0, then=Value(0)), default=Value(1)),
            F("webhook__tried_at").asc(nulls_first=True),
            "next_at",
            "id",
        )
        claimed = claim_first(in_order.select_related("webhook", "alert__client"), now=now, limit=1)
    if not claimed:
        return None
    # Outside of the claim: who changes a webhook locks it before its deliveries.
    Webhook.objects.filter(id=claimed[0].webhook_id).update(tried_at=now)
    return claimed[0]


@transaction.atomic
def note_accepted(*, row: WebhookDelivery, status_code: int, now: datetime) -> None:
    """The other side has it; its address is well again."""
    webhook = _lock(row)
    if webhook is not None and webhook.failures:
        webhook.failures, webhook.failing_since_at, webhook.rests_until_at = 0, None, None
        webhook.version += 1
        webhook.save()
    _keep_status(row, status_code)
    mark_sent(row=row, now=now)


@transaction.atomic
def note_refused(*, row: WebhookDelivery, refusal: Refusal, now: datetime) -> OutboxState:
    """Plan the next attempt and let the address rest; what is gone, or fails for days, is switched off."""
    webhook = _lock(row)
    if webhook is not None:
        _note_failure(webhook, refusal, now)
    _keep_status(row, refusal.status_code)
    failure = Failure.PERMANENT if refusal.status_code == GONE else Failure.TEMPORARY
    return mark_failed(
        row=row, failure=failure, code=refusal.code, now=now, not_before=now + _asked_for(refusal)
    )


def _note_failure(webhook: Webhook, refusal: Refusal, now: datetime) -> None:
    if webhook.failing_since_at is None:
        webhook.failing_since_at = now
        webhook.version += 1
    webhook.failures += 1
    rest = RESTS[min(webhook.failures, len(RESTS)) - 1]
    webhook.rests_until_at = now + max(rest, _asked_for(refusal))
    if refusal.status_code == GONE:
        _switch_off(webhook, SwitchedOff.GONE, now)
    elif now - webhook.failing_since_at >= SWITCHED_OFF_AFTER:
        _switch_off(webhook, SwitchedOff.FAILING, now)
    webhook.save()


def _asked_for(refusal: Refusal) -> timedelta:
    return min(refusal.retry_after or timedelta(), RETRY_AFTER_AT_MOST)


def _switch_off(webhook: Webhook, why: SwitchedOff, now: datetime) -> None:
    if not webhook.is_active:
        return
    webhook.is_active, webhook.switched_off = False, why
    webhook.version += 1
    record_change(
        actor=None,
        practice_id=webhook.practice_id,
        subject_key=None,
        action="switch_off",
        record_kind="webhook",
        record_id=str(webhook.uid),
        now=now,
        detail={"because": why},
    )


def _lock(row: WebhookDelivery) -> Webhook | None:
    """The webhook, locked against its other writers; not against who writes a delivery for it meanwhile."""
    return Webhook.objects.select_for_update(no_key=True).filter(id=row.webhook_id).first()


def _keep_status(row: WebhookDelivery, status_code: int | None) -> None:
    WebhookDelivery.objects.filter(id=row.id).update(status_code=status_code)


@across_practices("old rows of every practice")
def drop_old_deliveries(*, now: datetime) -> int:
    """Delete deliveries older than 30 days or of removed webhooks, a bounded number; safe to repeat."""
    removed = Webhook.objects.filter(removed_at__lt=now - REMOVED_STAYS_FOR)
    old = WebhookDelivery.objects.filter(created_at__lt=now - KEPT_FOR).order_by("created_at")
    orphaned = WebhookDelivery.objects.filter(webhook__in=removed)
    ids = [*old.values_list("id", flat=True)[:DROPPED_AT_ONCE]]
    ids += orphaned.values_list("id", flat=True)[: DROPPED_AT_ONCE - len(ids)]
    dropped, _ = WebhookDelivery.objects.filter(id__in=ids).delete()
    removed.filter(deliveries__isnull=True).delete()
    return dropped
