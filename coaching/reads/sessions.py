"""Logged sessions with all that is shown of them."""

from collections.abc import Collection

from django.db.models import QuerySet

from coaching.models import Session
from coaching.models.base import ListQuerySet


def with_content(rows: ListQuerySet[Session]) -> ListQuerySet[Session]:
    """The sessions with their sets and pain reports, in a constant number of queries."""
    return rows.select_related("client", "scheduled_session").prefetch_related(
        "sets__exercise", "sets__prescription", "pain_reports"
    )


def sessions_with_content(sessions: Collection[Session]) -> QuerySet[Session]:
    """These sessions as they stand now, with all that is shown of them."""
    return with_content(Session.objects.filter(id__in=[session.id for session in sessions]))
