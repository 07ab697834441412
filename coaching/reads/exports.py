"""Records as files tell them: listed by key, then read some at a time in a constant number of queries."""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from typing import TypeVar

from django.db.models import Count, Max, Model, Q, QuerySet

from coaching.models import Client, PainReport, Plan, PlanVersion, Session
from coaching.reads.plans import DAY_CONTENT
from coaching.reads.sessions import with_content

READ_AT_ONCE = 200

Row = TypeVar("Row", bound=Model)


def session_facts(clients: Collection[Client]) -> Iterator[tuple[int, str]]:
    """Each kept session's key, by client and time, with all by which its rows in a file may change."""
    rows = (
        Session.objects.filter(client__in=[client.id for client in clients])
        .kept()
        .annotate(waiting=Count("sets", filter=Q(sets__is_to_confirm=True)))
        .annotate(confirmed_at=Max("sets__confirmed_at"))
        .order_by("client__uid", "performed_at", "uid")
    )
    told = ("id", "uid", "version", "zone", "scheduled_session_id", "waiting", "confirmed_at")
    for key, *facts in rows.values_list(*told).iterator():
        yield key, repr(facts)


def pain_report_facts(clients: Collection[Client]) -> Iterator[tuple[int, str]]:
    """Each report's key, by client and time; a report is never edited, only its client may move."""
    rows = PainReport.objects.filter(client__in=[client.id for client in clients])
    ordered = rows.order_by("client__uid", "reported_at", "uid")
    told = ("id", "uid", "content_hash", "client__zone", "session_id", "felt_on", "received_at")
    for key, *facts in ordered.values_list(*told).iterator():
        yield key, repr(facts)


def plan_version_facts(plans: QuerySet[Plan]) -> Iterator[tuple[int, str]]:
    """Each version's key, plan by plan; a version is never edited, only its plan may be renamed."""
    rows = PlanVersion.objects.filter(plan__in=plans).order_by("plan__created_at", "plan__uid", "number")
    for key, *facts in rows.values_list("id", "plan__uid", "number", "plan__name").iterator():
        yield key, repr(facts)


def sessions_of(keys: Sequence[int]) -> Iterator[Session]:
    """These sessions with all they hold, in this order; those deleted meanwhile are left out."""
    return _some_at_a_time(keys, lambda some: with_content(Session.objects.filter(id__in=some).kept()))


def pain_reports_of(keys: Sequence[int]) -> Iterator[PainReport]:
    rows = PainReport.objects.select_related("client", "session")
    return _some_at_a_time(keys, lambda some: rows.filter(id__in=some))


def plan_versions_of(keys: Sequence[int]) -> Iterator[PlanVersion]:
    rows = PlanVersion.objects.select_related("plan").prefetch_related(
        *(f"days__{row}" for row in DAY_CONTENT)
    )
    return _some_at_a_time(keys, lambda some: rows.filter(id__in=some))


def _some_at_a_time(keys: Sequence[int], read: Callable[[Sequence[int]], Iterable[Row]]) -> Iterator[Row]:
    for start in range(0, len(keys), READ_AT_ONCE):
        some = keys[start : start + READ_AT_ONCE]
        found = {row.pk: row for row in read(some)}
        yield from (found[key] for key in some if key in found)
