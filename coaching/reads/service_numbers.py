"""The service in numbers, counted from rows: for whoever watches it, of all practices together."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, Min, OuterRef, QuerySet, Subquery

from coaching.compute import red_flags
from coaching.compute.local_days import first_valid_instant, newest_due_night
from coaching.models import Client, MailRow, Night, NightStatus, OutboxState, Practice, WebhookDelivery

DEAD_COUNTED_FOR = timedelta(days=7)
# Codes of mails that ended before they were sent, by nobody's fault.
NOTHING_TO_TELL = "_(over|ended|passed|left|gone|erased|closed)$"


@dataclass(frozen=True, slots=True)
class OutboxNumbers:
    """`dead` are those of the last week that will never be sent."""

    waiting: int
    dead: int
    oldest_waiting_s: float


@dataclass(frozen=True, slots=True)
class ServiceNumbers:
    """`newest_nights` is status -> practices whose newest night has it; the rest is of all practices.

    `oldest_night_s` is the time since the oldest night that is not done, planned or not, was due.
    """

    newest_nights: dict[str, int]
    newest_nights_clients_failed: int
    unfinished_nights: int
    oldest_night_s: float
    dirty_clients: int
    mail: OutboxNumbers
    webhooks: OutboxNumbers
    urgency_table: str


def service_numbers(*, now: datetime) -> ServiceNumbers:
    """A fixed number of queries, however many practices there are; to be asked across practices."""
    practices = list(_with_newest_night())
    unfinished = list(Night.objects.unfinished().select_related("practice"))
    ages = [_age_s(night.practice, night.night_on, now) for night in unfinished]
    ages += [_unplanned_s(practice, now) for practice in practices]
    statuses = Counter(practice.last_status for practice in practices if practice.last_status)
    return ServiceNumbers(
        newest_nights={status: statuses[status] for status in NightStatus.values},
        newest_nights_clients_failed=sum(practice.last_failed or 0 for practice in practices),
        unfinished_nights=len(unfinished),
        oldest_night_s=max(ages, default=0.0),
        dirty_clients=Client.objects.current().processed().dirty().count(),
        mail=_outbox(MailRow.objects.all(), now),
        webhooks=_outbox(WebhookDelivery.objects.all(), now),
        urgency_table=red_flags.VERSION,
    )


def _with_newest_night() -> QuerySet[Any]:
    newest = Night.objects.filter(practice=OuterRef("id")).order_by("-night_on")
    return Practice.objects.open().annotate(
        last_on=Subquery(newest.values("night_on")[:1]),
        last_status=Subquery(newest.values("status")[:1]),
        last_failed=Subquery(newest.values("clients_failed")[:1]),
    )


def _age_s(practice: Practice, night_on: date, now: datetime) -> float:
    due_at = first_valid_instant(practice.zone, night_on, practice.night_hour)
    return max((now - max(due_at, practice.created_at)).total_seconds(), 0.0)


def _unplanned_s(practice: Any, now: datetime) -> float:
    """How long a night has been due that no tick has planned."""
    newest_on = newest_due_night(practice.zone, practice.night_hour, now)
    if practice.last_on is not None and practice.last_on >= newest_on:
        return 0.0
    first_on = newest_on if practice.last_on is None else practice.last_on + timedelta(days=1)
    return _age_s(practice, first_on, now)


def _outbox(rows: "QuerySet[MailRow] | QuerySet[WebhookDelivery]", now: datetime) -> OutboxNumbers:
    waiting = rows.filter(state=OutboxState.WAITING).aggregate(number=Count("id"), first_at=Min("created_at"))
    dead = rows.filter(state=OutboxState.DEAD, created_at__gt=now - DEAD_COUNTED_FOR)
    first_at = waiting["first_at"]
    return OutboxNumbers(
        waiting=waiting["number"],
        dead=dead.exclude(error_code__regex=NOTHING_TO_TELL).count(),
        oldest_waiting_s=max((now - first_at).total_seconds(), 0.0) if first_at else 0.0,
    )
