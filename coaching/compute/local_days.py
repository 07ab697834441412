"""Local days and hours of a time zone as instants in UTC, across changes of the clock."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError


@dataclass(frozen=True, slots=True)
class LocalDayBounds:
    """First instant of a local day and first instant of the next, both in UTC."""

    starts_at: datetime
    ends_at: datetime


def local_day_bounds(zone: str, local_date: date) -> LocalDayBounds:
    """Give the instants between which a local date is on the calendar of a zone.

    Args:
        zone: IANA name, such as Europe/Berlin.
        local_date: date on the calendar there.

    Returns:
        LocalDayBounds; both instants are equal for a date that the zone left out.

    Raises:
        ValueError: unknown zone.

    Notes:
        A day starts at its first midnight. Where clocks were once put back across midnight, the minutes that
        came again count to the later day.

    Source:
        Time zone database, by zoneinfo. First midnight: design choice.

    >>> local_day_bounds("Europe/Berlin", date(2025, 3, 30)).ends_at.isoformat()
    '2025-03-30T22:00:00+00:00'
    """
    return LocalDayBounds(
        starts_at=first_valid_instant(zone, local_date, 0),
        ends_at=first_valid_instant(zone, local_date + timedelta(days=1), 0),
    )


def hours_in_local_day(zone: str, local_date: date) -> float:
    """Give the length of a local day.

    Args:
        zone, local_date: as for local_day_bounds.

    Returns:
        Hours; 0 for a date that the zone left out.

    Raises:
        ValueError: unknown zone.

    Source:
        As local_day_bounds.

    >>> hours_in_local_day("Europe/Berlin", date(2025, 3, 30))
    23.0
    """
    bounds = local_day_bounds(zone, local_date)
    return (bounds.ends_at - bounds.starts_at) / timedelta(hours=1)


def first_valid_instant(zone: str, local_date: date, hour: int) -> datetime:
    """Give the instant at which the clock of a zone first shows an hour on a date.

    Args:
        zone: IANA name.
        local_date: date on the calendar there.
        hour: 0 to 23.

    Returns:
        Instant in UTC. An hour that the clock skips gives the first instant after the skip, an hour that
        comes twice gives its first.

    Raises:
        ValueError: unknown zone, or hour outside 0 to 23.

    Source:
        Time zone database, by zoneinfo. Which instant stands for a skipped or doubled hour: design choice.

    >>> first_valid_instant("Europe/Berlin", date(2025, 3, 30), 2).isoformat()
    '2025-03-30T01:00:00+00:00'
    """
    if not 0 <= hour <= 23:
        raise ValueError(f"hour must lie in 0 to 23, got {hour}")
    place = _zone_info(zone)
    wall = datetime.combine(local_date, time(hour), tzinfo=place)
    instant = wall.astimezone(UTC)
    if instant.astimezone(place).replace(tzinfo=None) == wall.replace(tzinfo=None):
        return instant
    return _end_of_skip(place, not_after=instant, before=wall.replace(fold=1).astimezone(UTC))


def newest_due_night(zone: str, night_hour: int, now: datetime) -> date:
    """Give the newest local date whose night hour, or first valid instant after it, has come.

    Args:
        zone: IANA name.
        night_hour: 0 to 23, at which a night is due.
        now: instant, with its zone.

    Returns:
        Date on the calendar of the zone: that of `now`, or the one before.

    Raises:
        ValueError: unknown zone, or hour outside 0 to 23.

    Source:
        As first_valid_instant.

    >>> newest_due_night("Europe/Berlin", 3, datetime(2026, 3, 2, 1, 59, tzinfo=UTC)).isoformat()
    '2026-03-01'
    """
    day = local_date_of(now, zone)
    return day if first_valid_instant(zone, day, night_hour) <= now else day - timedelta(days=1)


def local_date_of(instant: datetime, zone: str) -> date:
    """Give the date that the calendar of a zone shows at an instant.

    Args:
        instant: a datetime with an offset.
        zone: IANA name.

    Returns:
        Date on the calendar there.

    Raises:
        ValueError: unknown zone, or a datetime without an offset.

    Source:
        Time zone database, by zoneinfo.

    >>> local_date_of(datetime(2025, 6, 30, 23, tzinfo=UTC), "Asia/Kolkata")
    datetime.date(2025, 7, 1)
    """
    if instant.utcoffset() is None:
        raise ValueError(f"instant must have an offset from UTC, got {instant.isoformat()}")
    return instant.astimezone(_zone_info(zone)).date()


def _end_of_skip(place: ZoneInfo, *, before: datetime, not_after: datetime) -> datetime:
    """The second at which the offset changes; a skipped wall time read with either offset encloses it."""
    old_offset = before.astimezone(place).utcoffset()
    low, high = 0, int((not_after - before).total_seconds())
    while high - low > 1:
        middle = (low + high) // 2
        if (before + timedelta(seconds=middle)).astimezone(place).utcoffset() == old_offset:
            low = middle
        else:
            high = middle
    return before + timedelta(seconds=high)


def _zone_info(zone: str) -> ZoneInfo:
    try:
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as fault:
        raise ValueError(f"zone must be the name of an IANA time zone, got {zone!r}") from fault
