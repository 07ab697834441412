"""Sessions as an app posts them, one a day and each with ids of its own, and the rows of a post."""

import random
import uuid
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

FIRST_DAY = date(2000, 1, 3)
LIFTS = ("back_squat", "barbell_bench_press", "bent_over_row", "leg_curl")
MOMENTS = ("before", "during", "after")


def session_body(day: int, *, sets: int, chance: random.Random) -> dict[str, Any]:
    """So many sets of four lifts and three reports of a knee, on the given day from the first one on."""
    at = datetime.combine(FIRST_DAY + timedelta(days=day), time(17, 30), tzinfo=UTC)
    return {
        "performed_at": at.isoformat(),
        "ended_at": (at + timedelta(hours=1)).isoformat(),
        "session_rpe": 7.5,
        "note": "Felt steady.",
        "sets": [_set(LIFTS[place * len(LIFTS) // sets], place, chance) for place in range(sets)],
        "pain_reports": [_report(moment, at + timedelta(hours=1), chance) for moment in MOMENTS],
    }


def _set(lift: str, place: int, chance: random.Random) -> dict[str, Any]:
    return {
        "id": _uid(chance),
        "exercise": lift,
        "kind": "warm_up" if place % 5 == 0 else "work",
        "load": 60 + 2.5 * chance.randrange(12),
        "load_unit": "kg",
        "reps": chance.randrange(4, 10),
        "rir": chance.randrange(6) / 2,
        "tempo": "3-1-1-0",
        "rest_s": 120,
        "ended_by": "target",
    }


def _report(moment: str, at: datetime, chance: random.Random) -> dict[str, Any]:
    return {
        "id": _uid(chance),
        "joint": "knee",
        "side": "left",
        "moment": moment,
        "pain": chance.randrange(3),
        "reported_at": at.isoformat(),
    }


def rows_again(rows: Mapping[str, Any], day: int, chance: random.Random) -> dict[str, Any]:
    """The rows of one post as those of another one: new ids, another day."""
    on = (FIRST_DAY + timedelta(days=day)).isoformat()
    return {
        "session": rows["session"] | {"uid": _uid(chance), "performed_on": on},
        "sets": [row | {"uid": _uid(chance)} for row in rows["sets"]],
        "pain_reports": [row | {"uid": _uid(chance), "felt_on": on} for row in rows["pain_reports"]],
        "joint_days": [row | {"day_on": on} for row in rows["joint_days"]],
        "lift_days": [row | {"day_on": on} for row in rows["lift_days"]],
    }


def _uid(chance: random.Random) -> str:
    return str(uuid.UUID(int=chance.getrandbits(128), version=4))
