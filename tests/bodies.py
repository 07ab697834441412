"""Bodies as a client app would send them, as small as the API accepts."""

import uuid
from typing import Any


def set_body(**changes: Any) -> dict[str, Any]:
    return {
        "id": str(uuid.uuid4()),
        "exercise": "back_squat",
        "load": 100,
        "reps": 5,
        "rir": 2,
    } | changes


def pain_body(**changes: Any) -> dict[str, Any]:
    return {
        "joint": "knee",
        "side": "left",
        "moment": "during",
        "pain": 2,
        "reported_at": "2026-03-02T18:40:00+01:00",
    } | changes


def session_body(**changes: Any) -> dict[str, Any]:
    return {
        "performed_at": "2026-03-02T18:00:00+01:00",
        "ended_at": "2026-03-02T18:40:00+01:00",
        "sets": [set_body()],
        "pain_reports": [pain_body(id=str(uuid.uuid4()))],
    } | changes


def version_of(answer: Any) -> str:
    """The version in an answer's ETag, as it may stand in If-Match."""
    return str(answer["ETag"]).partition("-")[0] + '"'
