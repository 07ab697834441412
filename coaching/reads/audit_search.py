"""The trail as an operator searches it, over all practices: event by event, or who saw what."""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.db.models import Count, Max, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from coaching.errors import NotFoundError
from coaching.models import Account, AuditEvent, Client, DeviceToken, ServiceToken

NAMES = ("practice__uid", "account_id", "who", "device_id", "device_name", "client", "client_name")
EVENT_COLUMNS = ("at", *NAMES, "action", "record_kind", "record_id", "detail")
REPORT_COLUMNS = (*NAMES, "action", "record_kind", "events", "first_at", "last_at")
ROWS_IN_PIECE = 1000


@dataclass(frozen=True, slots=True)
class TrailSearch:
    """Days are those of UTC, both inclusive; None asks for nothing in particular."""

    client_uid: uuid.UUID | None = None
    account_id: uuid.UUID | None = None
    from_on: date | None = None
    until_on: date | None = None
    action: str | None = None
    kind: str | None = None


def account_id_of(named: uuid.UUID | str | None) -> uuid.UUID | None:
    """The id of the account with this id or e-mail address. Raises NotFoundError."""
    if named is None:
        return None
    found = (
        Account.objects.named(named) if isinstance(named, str) else Account.objects.filter(id=named).first()
    )
    if found is None:
        raise NotFoundError("There is no such account.")
    return found.id


def found_events(search: TrailSearch) -> Iterator[dict[str, Any]]:
    """Each event, oldest first, read some at a time."""
    rows = _found(search).order_by("id").values(*EVENT_COLUMNS)
    yield from rows.iterator(chunk_size=ROWS_IN_PIECE)


def who_saw_what(search: TrailSearch) -> Iterator[dict[str, Any]]:
    """One row for each person, device, client, action and kind of record: how often, first and last."""
    told = _found(search).values(*NAMES, "action", "record_kind")
    counted = told.annotate(events=Count("id"), first_at=Min("at"), last_at=Max("at"))
    yield from counted.order_by("first_at", "account_id", "record_kind").iterator(chunk_size=ROWS_IN_PIECE)


def _found(search: TrailSearch) -> QuerySet[AuditEvent]:
    events = AuditEvent.objects.all()
    if search.client_uid is not None:
        is_theirs = Q(uid=search.client_uid) | Q(merged_into__uid=search.client_uid)
        events = events.filter(subject_key__in=Client.objects.filter(is_theirs).values("audit_key"))
    if search.account_id is not None:
        events = events.filter(account_id=search.account_id)
    if search.from_on is not None:
        events = events.filter(at__gte=_midnight(search.from_on))
    if search.until_on is not None:
        events = events.filter(at__lt=_midnight(search.until_on) + timedelta(days=1))
    if search.action is not None:
        events = events.filter(action=search.action)
    if search.kind is not None:
        events = events.filter(record_kind=search.kind)
    return _with_names(events)


def _with_names(events: QuerySet[AuditEvent]) -> QuerySet[AuditEvent]:
    """Names where they still exist; who was erased is an id that leads nowhere."""
    device = DeviceToken.objects.filter(uid=OuterRef("device_id")).values("device_name")
    service = ServiceToken.objects.filter(uid=OuterRef("device_id")).values("name")
    client = Client.objects.filter(audit_key=OuterRef("subject_key"))
    return events.annotate(
        who=Subquery(Account.objects.filter(id=OuterRef("account_id")).values("name")),
        device_name=Coalesce(Subquery(device), Subquery(service)),
        client=Subquery(client.values("uid")),
        client_name=Subquery(client.values("name")),
    )


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)
