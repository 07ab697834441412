"""Logged sessions with all that is shown of them."""

from django.db.models import QuerySet

from coaching.models import Session


def with_content(rows: QuerySet[Session]) -> QuerySet[Session]:
    """The sessions with their sets and pain reports, in a constant number of queries."""
    return rows.select_related("client", "scheduled_session").prefetch_related(
        "sets__exercise", "sets__prescription", "pain_reports"
    )
