"""What a client app says was done, as checked at the border and before it is stored."""

import hashlib
import json
import uuid
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import Any

HASH_VERSION = "v1"
FIRST_INSTANT = datetime(1990, 1, 1, tzinfo=UTC)
MAX_SETS = 200
# Left out of the digest while they say nothing, so that what was stored before they came keeps its digest.
FIELDS_SINCE_V1 = ("guessed_rir", "guessed_after_reps", "explanation")
# What an import brings along beside the content of the set.
NO_CONTENT = ("is_to_confirm",)


@dataclass(frozen=True, slots=True)
class SetEntry:
    uid: uuid.UUID
    exercise_code: str
    kind: str
    side: str
    load_thousandths: int
    load_unit: str
    reps: int | None
    duration_s: int | None
    rir: float | None
    ended_by: str
    tempo: str
    rest_s: int | None
    follows_previous: bool
    prescription_uid: uuid.UUID | None
    guessed_rir: float | None = None
    guessed_after_reps: int | None = None
    is_to_confirm: bool | None = None  # None: the load decides


@dataclass(frozen=True, slots=True)
class PainEntry:
    uid: uuid.UUID
    joint: str
    side: str
    other_site: str
    moment: str
    pain: int
    symptoms: dict[str, str]
    note: str
    reported_at: datetime
    session_uid: uuid.UUID | None = None
    explanation: str = ""


@dataclass(frozen=True, slots=True)
class SessionEntry:
    uid: uuid.UUID
    performed_at: datetime
    ended_at: datetime | None
    session_rpe: float | None
    note: str
    scheduled_session_uid: uuid.UUID | None
    sets: tuple[SetEntry, ...]
    pain_reports: tuple[PainEntry, ...]


def content_hash(entry: SessionEntry | PainEntry) -> str:
    """A digest of the content as meant: key order, 5 or 5.0 and the offset of an instant do not change it."""
    text = json.dumps(_as_meant(entry), sort_keys=True, default=_plain)
    return f"{HASH_VERSION}:{hashlib.sha256(text.encode()).hexdigest()}"


def _as_meant(entry: SessionEntry | SetEntry | PainEntry) -> dict[str, Any]:
    """By hand, since `asdict` would copy every value there is."""
    meant: dict[str, Any] = {name: getattr(entry, name) for name in MEANT[type(entry)]}
    for name in FIELDS_SINCE_V1:
        if name in meant and meant[name] in (None, ""):
            del meant[name]
    for name in ("sets", "pain_reports"):
        if name in meant:
            meant[name] = [_as_meant(each) for each in meant[name]]
    return meant


MEANT = {
    kind: [each.name for each in fields(kind) if each.name not in NO_CONTENT]
    for kind in (SessionEntry, SetEntry, PainEntry)
}


def _plain(value: Any) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    return str(value)
