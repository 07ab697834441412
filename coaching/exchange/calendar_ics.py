"""Scheduled sessions as an iCalendar file (RFC 5545)."""

import hashlib
from collections.abc import Iterable
from datetime import timedelta
from typing import TYPE_CHECKING

from coaching.models import ScheduledStatus
from coaching.reads.calendar_feed import FedSession

if TYPE_CHECKING:
    from icalendar import Event

REFRESH = timedelta(hours=6)
DAY = timedelta(days=1)


def calendar_of_sessions(sessions: Iterable[FedSession]) -> bytes:
    """Whole-day events, the same bytes for the same sessions.

    A session has a date and no hour, so it is a day of the client's own calendar: no zone and no change of
    the clocks can move it. A session that is not planned any more is cancelled, and nobody is told why.
    """
    from icalendar import Calendar  # late: most processes answer no calendar

    calendar = Calendar()
    calendar.add("prodid", "-//Forbear//Scheduled sessions//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    for name in ("name", "x-wr-calname"):
        calendar.add(name, "Training")
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT6H")
    for session in sessions:
        calendar.add_component(_event(session))
    return bytes(calendar.to_ical())


def calendar_tag(calendar: bytes) -> str:
    return hashlib.sha256(calendar).hexdigest()[:32]


def _event(session: FedSession) -> "Event":
    from icalendar import Event

    is_planned = session.status == ScheduledStatus.PLANNED
    event = Event()
    event.add("uid", str(session.uid))
    event.add("summary", f"Training: {session.day_name}")
    event.add("dtstart", session.due_on)
    event.add("dtend", session.due_on + DAY)  # the day after: the end is not part of an event
    event.add("dtstamp", session.changed_at)
    event.add("last-modified", session.changed_at)
    event.add("sequence", session.version - 1)
    event.add("status", "CONFIRMED" if is_planned else "CANCELLED")
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    return event
