"""Logged sessions with all that is shown of them."""

from collections.abc import Collection

from django.db.models import Prefetch, QuerySet

from coaching.models import PainReport, Session
from coaching.models.base import ListQuerySet


def with_content(rows: ListQuerySet[Session]) -> ListQuerySet[Session]:
    """The sessions with their sets and pain reports, in a constant number of queries.

    Reports come in the order they were stored in, so that a patch that leaves them alone changes nothing.
    """
    reports = Prefetch("pain_reports", PainReport.objects.order_by("id"))
    return rows.select_related("client", "scheduled_session").prefetch_related(
        "sets__exercise", "sets__prescription", reports
    )


def sessions_with_content(sessions: Collection[Session]) -> QuerySet[Session]:
    """These sessions as they stand now, with all that is shown of them."""
    return with_content(Session.objects.filter(id__in=[session.id for session in sessions]))
