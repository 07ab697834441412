"""What changed since a place in the feed, each record as it stands now."""

import uuid
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from coaching.compute.local_days import local_date_of
from coaching.errors import MarkError
from coaching.models import (
    SCOPE_OF_CHANGES,
    Actor,
    Alert,
    Assignment,
    Change,
    ChangeKind,
    Clearance,
    Client,
    Injury,
    InterventionNote,
    PainReport,
    Restriction,
    Session,
)
from coaching.reads.assignments import held_sessions_by_uid, with_plan
from coaching.reads.clients import client_for
from coaching.reads.sessions import with_content
from coaching.reads.settled import newest_and_settled


@dataclass(frozen=True, slots=True)
class ChangedRecord:
    """A record as it stands, or None once it is gone."""

    change: Change
    record: Any

    @property
    def client(self) -> Client:
        return self.change.client


@dataclass(frozen=True, slots=True)
class ChangesPage:
    """Records in the order of their last change, and the place up to which this page goes."""

    items: tuple[ChangedRecord, ...]
    upto: int
    has_more: bool


def changes_for(
    actor: Actor, *, client_uid: uuid.UUID | None, since: int, page_size: int, now: datetime
) -> ChangesPage:
    """The next page after place `since`; the number of queries does not depend on how many records it has.

    Raises NotFoundError for a client who is not the actor's to see, MarkError for a place yet to come.
    """
    visible = Client.objects.visible_to(actor)
    if client_uid is not None:
        visible = visible.filter(id=client_for(actor, client_uid).id)
    newest, settled = newest_and_settled()
    if since > newest:
        raise MarkError("This mark is ahead of what there is. Start again without one.")
    rows = Change.objects.filter(
        practice_id=actor.practice_id, client__in=visible, id__gt=since, id__lte=settled
    ).exclude(kind__in=_kinds_kept_from(actor))
    if actor.client_id is None:
        rows = rows.exclude(~Q(kind=ChangeKind.CLIENT), client__in=visible.stopped())
    found = list(rows.select_related("client").order_by("id")[: page_size + 1])
    page = found[:page_size]
    return ChangesPage(
        items=tuple(_with_records(actor, page, now)),
        upto=page[-1].id if page else since,
        has_more=len(found) > page_size,
    )


def _kinds_kept_from(actor: Actor) -> list[str]:
    """Clearances are for coaches; a service gets the kinds that its other scopes let it read."""
    if actor.is_coach:
        return []
    if not actor.is_service:
        return [ChangeKind.CLEARANCE]
    return [
        kind
        for kind in ChangeKind
        if kind not in SCOPE_OF_CHANGES or not actor.has_scope(SCOPE_OF_CHANGES[kind])
    ]


def _with_records(actor: Actor, page: Sequence[Change], now: datetime) -> list[ChangedRecord]:
    """Each change with its record; what this actor does not get on its own is left out."""
    standing: dict[str, dict[uuid.UUID, Any]] = {}
    for kind in {change.kind for change in page}:
        changes = [change for change in page if change.kind == kind and not change.is_deleted]
        standing[kind] = RECORDS[ChangeKind(kind)](changes, now)
    items = [ChangedRecord(change, standing[change.kind].get(change.record_uid)) for change in page]
    return [item for item in items if item.record is None or _is_shown(actor, item)]


def _is_shown(actor: Actor, item: ChangedRecord) -> bool:
    if item.change.kind == ChangeKind.PAIN_REPORT:
        return item.record.session_id is None  # the others come with their session
    if item.change.kind == ChangeKind.INTERVENTION_NOTE:
        return actor.is_coach or item.record.is_shared
    return True


def _by_uid(
    rows: Callable[[], QuerySet[Any]],
) -> Callable[[Sequence[Change], datetime], dict[uuid.UUID, Any]]:
    """The rows that the changes name; ids are unique within a practice, which a query is begun within."""

    def find(changes: Sequence[Change], now: datetime) -> dict[uuid.UUID, Any]:
        uids = [change.record_uid for change in changes]
        named = rows().filter(practice_id__in={change.practice_id for change in changes}, uid__in=uids)
        return {row.uid: row for row in named}

    return find


def _scheduled(changes: Sequence[Change], now: datetime) -> dict[uuid.UUID, Any]:
    """What a session came to depends on what day it is where its client lives: two or three in the world."""
    by_today: defaultdict[Any, list[Change]] = defaultdict(list)
    for change in changes:
        by_today[local_date_of(now, change.client.zone)].append(change)
    found: dict[uuid.UUID, Any] = {}
    for today, some in by_today.items():
        found |= held_sessions_by_uid(
            client_ids={change.client_id for change in some},
            uids={change.record_uid for change in some},
            today=today,
        )
    return found


RECORDS: dict[ChangeKind, Callable[[Sequence[Change], datetime], dict[uuid.UUID, Any]]] = {
    ChangeKind.CLIENT: _by_uid(lambda: Client.objects.select_related("coach__account")),
    ChangeKind.INJURY: _by_uid(lambda: Injury.objects.all()),
    ChangeKind.RESTRICTION: _by_uid(lambda: Restriction.objects.select_related("injury", "exercise")),
    ChangeKind.CLEARANCE: _by_uid(lambda: Clearance.objects.select_related("recorded_by")),
    ChangeKind.INTERVENTION_NOTE: _by_uid(lambda: InterventionNote.objects.select_related("author")),
    ChangeKind.ASSIGNMENT: _by_uid(lambda: with_plan(Assignment.objects.all())),
    ChangeKind.SCHEDULED_SESSION: _scheduled,
    ChangeKind.SESSION: _by_uid(lambda: with_content(Session.objects.kept())),
    ChangeKind.PAIN_REPORT: _by_uid(lambda: PainReport.objects.select_related("session")),
    ChangeKind.ALERT: _by_uid(lambda: Alert.objects.select_related("client")),
}
