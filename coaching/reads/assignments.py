"""What a client was given to do, and their calendar of it."""

import uuid
from collections.abc import Collection
from datetime import date

from django.db.models import Prefetch, QuerySet

from coaching.errors import NotFoundError
from coaching.models import Assignment, Client, ScheduledSession, Session
from coaching.models.base import ListQuerySet
from coaching.reads.adherence import HeldSession, held_sessions
from coaching.reads.plans import DAY_CONTENT


def assignments_of(client: Client) -> ListQuerySet[Assignment]:
    return with_plan(Assignment.objects.filter(client=client))


def with_plan(rows: ListQuerySet[Assignment]) -> ListQuerySet[Assignment]:
    return rows.select_related("plan_version__plan", "assigned_by")


def assignment_of(client: Client, assignment_uid: uuid.UUID) -> Assignment:
    """Raises NotFoundError."""
    found = assignments_of(client).filter(uid=assignment_uid).first()
    if found is None:
        raise NotFoundError("There is no such assignment.")
    return found


def calendar_of(client: Client, from_on: date, until_on: date, *, today: date) -> list[HeldSession]:
    """The sessions due from `from_on` to `until_on`, in order, with content and what they came to."""
    rows = _with_content(ScheduledSession.objects.filter(client=client, due_on__range=(from_on, until_on)))
    return held_sessions(list(rows), today=today)


def scheduled_session_of(client: Client, scheduled_uid: uuid.UUID) -> ScheduledSession:
    """Raises NotFoundError."""
    found = _with_content(ScheduledSession.objects.filter(client=client, uid=scheduled_uid)).first()
    if found is None:
        raise NotFoundError("There is no such scheduled session.")
    return found


def held_session_of(client: Client, scheduled_uid: uuid.UUID, *, today: date) -> HeldSession:
    """The session with what it came to by today. Raises NotFoundError."""
    return held_sessions([scheduled_session_of(client, scheduled_uid)], today=today)[0]


def held_sessions_by_uid(
    *, client_ids: Collection[int], uids: Collection[uuid.UUID], today: date
) -> dict[uuid.UUID, HeldSession]:
    """Sessions of several clients for whom it is the same day, in a constant number of queries."""
    rows = _with_content(ScheduledSession.objects.filter(client__in=client_ids, uid__in=uids))
    return {held.session.uid: held for held in held_sessions(list(rows), today=today)}


def _with_content(rows: QuerySet[ScheduledSession]) -> QuerySet[ScheduledSession]:
    kept = Session.objects.kept().only("id", "uid", "scheduled_session_id").order_by("performed_at", "id")
    return (
        rows.select_related("assignment")
        .prefetch_related(
            *(f"plan_day__{content}" for content in DAY_CONTENT),
            Prefetch("sessions", queryset=kept, to_attr="logged"),
        )
        .order_by("due_on", "id")
    )
