"""Local days and hours as instants, across clock changes."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


def first_valid_instant(zone: str, local_date: date, hour: int) -> datetime:
    """The instant at which a local hour begins; the first valid one after it where the hour is skipped.

    Args:
        zone: IANA zone name.
        local_date: date in that zone.
        hour: 0 to 23.

    Returns:
        Instant in UTC. Where the hour comes twice, the first of the two.

    Raises:
        ValueError: hour outside 0 to 23. zoneinfo.ZoneInfoNotFoundError: unknown zone.

    Notes:
        A local day that does not exist at all (Apia, 2011-12-30) begins and ends at the same instant.

    Source:
        IANA time zone database; PEP 495 for fold.

    >>> first_valid_instant("Europe/Berlin", date(2025, 3, 30), 2).isoformat()
    '2025-03-30T01:00:00+00:00'
    """
    if not 0 <= hour <= 23:
        raise ValueError(f"hour must be 0 to 23, got {hour}")
    tz = ZoneInfo(zone)
    wanted = datetime.combine(local_date, time(hour), tz)
    instant = wanted.astimezone(UTC)
    if instant.astimezone(tz).replace(tzinfo=None) == wanted.replace(tzinfo=None):
        return instant
    return _end_of_gap(tz, wanted)


def _end_of_gap(tz: ZoneInfo, wanted: datetime) -> datetime:
    """The instant at which the clock jumps over `wanted`: found by halving between the two readings of it."""
    low = min(wanted.replace(fold=fold).astimezone(UTC) for fold in (0, 1))
    high = max(wanted.replace(fold=fold).astimezone(UTC) for fold in (0, 1))
    offset_before = low.astimezone(tz).utcoffset()
    while high - low > timedelta(seconds=1):
        middle = low + (high - low) // 2
        if middle.astimezone(tz).utcoffset() == offset_before:
            low = middle
        else:
            high = middle
    return high.replace(microsecond=0)


def local_day_hours(zone: str, local_date: date) -> float:
    """Length of a local day in hours: 24, or what a clock change makes of it.

    >>> local_day_hours("Australia/Lord_Howe", date(2025, 4, 6))
    24.5
    """
    begin = first_valid_instant(zone, local_date, 0)
    end = first_valid_instant(zone, local_date + timedelta(days=1), 0)
    return (end - begin).total_seconds() / 3600


def local_date_of(instant: datetime, zone: str) -> date:
    """The local date of an instant.

    Raises:
        ValueError: instant without an offset.

    >>> local_date_of(datetime(2025, 3, 30, 23, 30, tzinfo=UTC), "Europe/Berlin").isoformat()
    '2025-03-31'
    """
    if instant.utcoffset() is None:
        raise ValueError(f"instant must carry an offset, got {instant.isoformat()}")
    return instant.astimezone(ZoneInfo(zone)).date()
