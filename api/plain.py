"""Values as JSON shows them, where a body is written by hand; as REST framework's fields write them."""

import uuid
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any

from coaching.reads.computed import Computed


def instant(at: datetime) -> str:
    """RFC 3339 in UTC, with a Z."""
    return at.astimezone(UTC).isoformat().removesuffix("+00:00") + "Z"


def instant_or_none(at: datetime | None) -> str | None:
    return None if at is None else instant(at)


def day_or_none(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def uid_or_none(uid: uuid.UUID | None) -> str | None:
    return None if uid is None else str(uid)


def computed_body(computed: Computed) -> dict[str, Any]:
    return _computed(computed.method, computed.version, computed.from_on, computed.until_on)


@lru_cache(maxsize=1024)
def _computed(method: str, version: str, from_on: date | None, until_on: date | None) -> dict[str, Any]:
    """Made once for the many rows that share it; nobody changes a body that is being answered."""
    return {
        "method": method,
        "version": version,
        "from_on": day_or_none(from_on),
        "until_on": day_or_none(until_on),
    }
