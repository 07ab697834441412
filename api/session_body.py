"""Sessions as JSON, by hand: what `SessionOut` says, without a field object for each value.

`tests/api/test_hot_bodies.py` and `test_session_shown.py` hold the two against each other.
"""

from functools import lru_cache
from typing import Any

from api.plain import instant, instant_or_none, uid_or_none
from coaching.models import Session
from coaching.reads.loads import kg_of_load
from coaching.reads.session_pages import ReportRow, SessionContent, SetRow, content_held


def session_body(session: Session, content: SessionContent) -> dict[str, Any]:
    uid, scheduled = str(session.uid), session.scheduled_session
    return {
        "id": uid,
        "client": str(session.client.uid),
        "performed_at": instant(session.performed_at),
        "ended_at": instant_or_none(session.ended_at),
        "performed_on": session.performed_on.isoformat(),
        "session_rpe": session.session_rpe,
        "note": session.note,
        "scheduled_session": None if scheduled is None else str(scheduled.uid),
        "sets": [_set(row) for row in content.sets],
        "pain_reports": [_report(row, uid) for row in content.reports],
        "version": session.version,
        "received_at": instant(session.received_at),
    }


def held_body(session: Session) -> dict[str, Any]:
    """The same of a session that holds its sets and reports itself."""
    return session_body(session, content_held(session))


# The same loads come again and again on a page; the numbers themselves are nobody's.
_load_kg = lru_cache(maxsize=4096)(kg_of_load)


def _set(row: SetRow) -> dict[str, Any]:
    return {
        "id": str(row.uid),
        "exercise": row.exercise_code,
        "kind": row.kind,
        "side": row.side,
        "load": row.load_thousandths / 1000,
        "load_unit": row.load_unit,
        "load_kg": _load_kg(row.load_thousandths, row.load_unit),
        "reps": row.reps,
        "duration_s": row.duration_s,
        "rir": row.rir,
        "guessed_rir": row.guessed_rir,
        "guessed_after_reps": row.guessed_after_reps,
        "ended_by": row.ended_by,
        "tempo": row.tempo,
        "rest_s": row.rest_s,
        "follows_previous": row.follows_position is not None,
        "prescription": uid_or_none(row.prescription_uid),
        "to_confirm": row.is_to_confirm,
    }


def _report(row: ReportRow, session: str) -> dict[str, Any]:
    return {
        "id": str(row.uid),
        "joint": row.joint,
        "side": row.side,
        "other_site": row.other_site,
        "moment": row.moment,
        "pain": row.pain,
        "symptoms": {code: None if said is None else str(said) for code, said in row.symptoms.items()},
        "note": row.note,
        "explanation": row.explanation,
        "reported_at": instant(row.reported_at),
        "felt_on": row.felt_on.isoformat(),
        "session": session,
        "version": row.version,
    }
