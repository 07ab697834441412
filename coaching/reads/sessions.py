"""Logged sessions with all that is shown of them."""

from collections.abc import Collection, Iterable
from typing import Any, cast

from django.db.models import Prefetch, QuerySet

from coaching.models import LoggedSet, PainReport, Session
from coaching.models.base import ListQuerySet


def with_content(rows: ListQuerySet[Session]) -> ListQuerySet[Session]:
    """The sessions with their sets and pain reports, in a constant number of queries.

    Reports come in the order they were stored in, so that a patch that leaves them alone changes nothing.
    """
    reports = Prefetch("pain_reports", PainReport.objects.order_by("id"))
    return rows.select_related("client", "scheduled_session").prefetch_related(
        "sets__exercise", "sets__prescription", reports
    )


def hold_content(
    sessions: Iterable[Session], sets: Iterable[LoggedSet], reports: Iterable[PainReport]
) -> None:
    """Give sessions that were just stored what they hold, as `with_content` would read it."""
    held: dict[int, dict[str, list[Any]]] = {}
    for name, rows in (("sets", sets), ("pain_reports", reports)):
        for row in rows:
            held.setdefault(row.session_id or 0, {}).setdefault(name, []).append(row)
    for session in sessions:
        own, holder = held.get(session.id, {}), cast("Any", session)
        holder._prefetched_objects_cache = {
            "sets": _as_read(LoggedSet.objects.all(), own.get("sets", [])),
            "pain_reports": _as_read(PainReport.objects.all(), own.get("pain_reports", [])),
        }


def _as_read(rows: Any, held: list[Any]) -> Any:
    """As Django itself leaves what it has read along."""
    rows._result_cache, rows._prefetch_done = held, True
    return rows


def sessions_with_content(sessions: Collection[Session]) -> QuerySet[Session]:
    """These sessions as they stand now, with all that is shown of them."""
    return with_content(Session.objects.filter(id__in=[session.id for session in sessions]))
