"""What a calendar program is given: the days and names of a client's scheduled sessions, and nothing else."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import F

from coaching.models import ScheduledSession

DAYS_BACK = timedelta(days=28)
DAYS_AHEAD = timedelta(days=180)


@dataclass(frozen=True, slots=True)
class FedSession:
    """A scheduled session without its exercises: a calendar may lie open on a kitchen table."""

    uid: UUID
    due_on: date
    day_name: str
    status: str
    version: int
    changed_at: datetime


def fed_sessions(client_id: int, today: date) -> tuple[FedSession, ...]:
    """The client's sessions from 28 days back to 180 ahead, in order; one query."""
    rows = (
        ScheduledSession.objects.filter(
            client_id=client_id, due_on__range=(today - DAYS_BACK, today + DAYS_AHEAD)
        )
        .annotate(day_name=F("plan_day__name"), laid_out_at=F("assignment__created_at"))
        .order_by("due_on", "id")
    )
    return tuple(
        FedSession(
            uid=row.uid,
            due_on=row.due_on,
            day_name=row.day_name,
            status=row.status,
            version=row.version,
            changed_at=row.changed_at or row.laid_out_at,
        )
        for row in rows
    )
