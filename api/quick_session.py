"""Reading a session of the usual shape without a serializer; what is unusual is left to `SessionIn`.

It only ever accepts. Whatever it does not know for sure gives None, and the serializer then reads the same
body again, says what is wrong with it, or finds it good after all. `tests/api/test_quick_session.py` holds
that whatever is accepted here means the same there.
"""

import unicodedata
import uuid
from collections.abc import Set
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from api.fields import CONTROL, ID, INSTANT
from coaching.models import MIDLINE_JOINTS, EndedBy, Joint, LoadUnit, PainMoment, SetKind, SetSide, SiteSide
from coaching.operations.entries import MAX_SETS
from coaching.reads.symptoms import SYMPTOM_CODES

MAX_REPORTS = 100
OF_SESSION = frozenset(
    (
        *("performed_at", "ended_at", "session_rpe", "note", "scheduled_session"),
        *("client", "sets", "pain_reports"),
    )
)
OF_ITEM = OF_SESSION | {"id"}
OF_SET = frozenset(
    (
        *("id", "exercise", "kind", "side", "load", "load_unit", "reps", "duration_s", "rir", "guessed_rir"),
        *("guessed_after_reps", "ended_by", "tempo", "rest_s", "follows_previous", "prescription"),
    )
)
OF_REPORT = frozenset(
    (
        *("id", "joint", "side", "other_site", "moment", "pain", "symptoms", "note", "explanation"),
        "reported_at",
    )
)
KINDS, SIDES, UNITS = frozenset(SetKind.values), frozenset(SetSide.values), frozenset(LoadUnit.values)
ENDINGS, MOMENTS = frozenset(EndedBy.values), frozenset(PainMoment.values)
JOINTS, SITE_SIDES = frozenset(Joint.values), frozenset(SiteSide.values)
MIDLINE = frozenset(joint.value for joint in MIDLINE_JOINTS)
ANSWERS = frozenset(("yes", "no", "not_answered"))
NO_IDS = (0, 2**128 - 1)


class _UnsureError(Exception):
    """Not of the usual shape."""


def quick_session(data: Any) -> dict[str, Any] | None:
    """As `SessionIn` validates it; None where that is not certain."""
    try:
        return _session(data, OF_SESSION)
    except (_UnsureError, KeyError, ValueError, OverflowError):
        return None


def quick_item(data: Any) -> dict[str, Any] | None:
    """As `SessionInBatch` validates it; None where that is not certain."""
    try:
        return _session(data, OF_ITEM) | {"id": _id(data["id"])}
    except (_UnsureError, KeyError, ValueError, OverflowError):
        return None


def _session(data: Any, known: Set[str]) -> dict[str, Any]:
    _check_keys(data, known)
    get = data.get
    found = {
        "performed_at": _instant(data["performed_at"]),
        "ended_at": None if get("ended_at") is None else _instant(data["ended_at"]),
        "session_rpe": _half_steps(get("session_rpe"), 10),
        "note": _text(get("note", ""), 2000, is_multiline=True),
        "scheduled_session": _id_or_none(get("scheduled_session")),
        "sets": [_set(row) for row in _list(get("sets", []), MAX_SETS)],
        "pain_reports": [_report(row) for row in _list(get("pain_reports", []), MAX_REPORTS)],
    }
    return found | {"client": _id(data["client"])} if "client" in data else found


def _set(row: Any) -> dict[str, Any]:
    _check_keys(row, OF_SET)
    get = row.get
    reps, duration_s = _whole(get("reps"), 0, 1000), _whole(get("duration_s"), 1, 7200)
    guessed_rir, after_reps = _half_steps(get("guessed_rir"), 20), _whole(get("guessed_after_reps"), 0, 1000)
    if (reps is None) == (duration_s is None) or (guessed_rir is None) != (after_reps is None):
        raise _UnsureError
    if after_reps is not None and (reps is None or after_reps > reps):
        raise _UnsureError
    return {
        "id": _id(row["id"]),
        "exercise": _text(row["exercise"], 60, is_blank_good=False),
        "kind": _word(get("kind", "work"), KINDS),
        "side": _word(get("side", "both"), SIDES),
        "load": _thousandths(get("load", 0)),
        "load_unit": _word(get("load_unit", "kg"), UNITS),
        "reps": reps,
        "duration_s": duration_s,
        "rir": _half_steps(get("rir"), 20),
        "guessed_rir": guessed_rir,
        "guessed_after_reps": after_reps,
        "ended_by": _word(get("ended_by", "target"), ENDINGS),
        "tempo": _text(get("tempo", ""), 12),
        "rest_s": _whole(get("rest_s"), 0, 7200),
        "follows_previous": _flag(get("follows_previous", False)),
        "prescription": _id_or_none(get("prescription")),
    }


def _report(row: Any) -> dict[str, Any]:
    _check_keys(row, OF_REPORT)
    joint, side = _word(row["joint"], JOINTS), _word(row["side"], SITE_SIDES)
    other_site = _text(row.get("other_site", ""), 80)
    pain = _whole(row["pain"], 0, 10)
    is_elsewhere = joint == "other"
    if pain is None or (is_elsewhere and not other_site):
        raise _UnsureError
    if not is_elsewhere and (joint in MIDLINE) != (side == "midline"):
        raise _UnsureError
    return {
        "id": _id(row["id"]),
        "joint": joint,
        "side": side,
        "other_site": other_site,
        "moment": _word(row["moment"], MOMENTS),
        "pain": pain,
        "symptoms": _symptoms(row.get("symptoms", {})),
        "note": _text(row.get("note", ""), 2000, is_multiline=True),
        "explanation": _text(row.get("explanation", ""), 300),
        "reported_at": _instant(row["reported_at"]),
    }


def _check_keys(row: Any, known: Set[str]) -> None:
    if type(row) is not dict or not row.keys() <= known:
        raise _UnsureError


def _list(rows: Any, most: int) -> list[Any]:
    if type(rows) is not list or len(rows) > most:
        raise _UnsureError
    return list(rows)


def _instant(value: Any) -> datetime:
    if type(value) is not str or not INSTANT.fullmatch(value):
        raise _UnsureError
    found = datetime.fromisoformat(value.upper())
    found.astimezone(UTC)  # beyond the calendar elsewhere: OverflowError
    return found


def _id(value: Any) -> uuid.UUID:
    if type(value) is not str or not ID.fullmatch(value):
        raise _UnsureError
    found = uuid.UUID(value)
    if found.int in NO_IDS:
        raise _UnsureError
    return found


def _id_or_none(value: Any) -> uuid.UUID | None:
    return None if value is None else _id(value)


def _word(value: Any, known: Set[str]) -> str:
    if type(value) is not str or value not in known:
        raise _UnsureError
    return value


def _flag(value: Any) -> bool:
    if type(value) is not bool:
        raise _UnsureError
    return value


def _whole(value: Any, low: int, high: int) -> int | None:
    if value is None:
        return None
    if type(value) is not int or not low <= value <= high:
        raise _UnsureError
    return value


def _half_steps(value: Any, high: int) -> float | None:
    if value is None:
        return None
    if type(value) is not int and type(value) is not Decimal:
        raise _UnsureError
    number = float(value)
    if (number * 2) % 1 or not 0 <= number <= high:
        raise _UnsureError
    return number


def _thousandths(value: Any) -> int:
    if (type(value) is not int and type(value) is not Decimal) or not 0 <= value <= 2000:
        raise _UnsureError
    thousandths = value * 1000
    if thousandths % 1:
        raise _UnsureError
    return int(thousandths)


def _text(value: Any, longest: int, *, is_multiline: bool = False, is_blank_good: bool = True) -> str:
    if type(value) is not str:
        raise _UnsureError
    text = value.strip() if value.isascii() else unicodedata.normalize("NFC", value).strip()
    if len(text) > longest or (not text and not is_blank_good):
        raise _UnsureError
    if not text.isprintable() and (not is_multiline or CONTROL.search(text)):
        raise _UnsureError  # a line break where it may stand is not printable either
    if not text.isascii():
        text.encode()  # half a character: a ValueError
    return text


def _symptoms(value: Any) -> dict[str, str]:
    if type(value) is not dict or not all(
        code in SYMPTOM_CODES and type(answer) is str and answer in ANSWERS for code, answer in value.items()
    ):
        raise _UnsureError
    return dict(value)
