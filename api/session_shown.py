"""Sessions as `SessionOut` and `PainReportOut` show them, written out by hand: these are made all day long.

`tests/api/test_session_shown.py` holds both ways against each other.
"""

from datetime import UTC, datetime
from typing import Any

from coaching.models import LoggedSet, PainReport, Session
from coaching.reads.loads import exact_load_kg


def session_body(session: Session) -> dict[str, Any]:
    return {
        "id": str(session.uid),
        "client": str(session.client.uid),
        "performed_at": instant(session.performed_at),
        "ended_at": None if session.ended_at is None else instant(session.ended_at),
        "performed_on": session.performed_on.isoformat(),
        "session_rpe": session.session_rpe,
        "note": session.note,
        "scheduled_session": str(session.scheduled_session.uid) if session.scheduled_session else None,
        "sets": [set_body(row) for row in session.sets.all()],
        "pain_reports": [report_body(row, session) for row in session.pain_reports.all()],
        "version": session.version,
        "received_at": instant(session.received_at),
    }


def set_body(row: LoggedSet) -> dict[str, Any]:
    return {
        "id": str(row.uid),
        "exercise": row.exercise.code,
        "kind": row.kind,
        "side": row.side,
        "load": row.load_thousandths / 1000,
        "load_unit": row.load_unit,
        "load_kg": exact_load_kg(row),
        "reps": row.reps,
        "duration_s": row.duration_s,
        "rir": row.rir,
        "guessed_rir": row.guessed_rir,
        "guessed_after_reps": row.guessed_after_reps,
        "ended_by": row.ended_by,
        "tempo": row.tempo,
        "rest_s": row.rest_s,
        "follows_previous": row.follows_position is not None,
        "prescription": str(row.prescription.uid) if row.prescription else None,
        "to_confirm": row.is_to_confirm,
    }


def report_body(row: PainReport, session: Session) -> dict[str, Any]:
    """A report of this session."""
    return {
        "id": str(row.uid),
        "joint": row.joint,
        "side": row.side,
        "other_site": row.other_site,
        "moment": row.moment,
        "pain": row.pain,
        "symptoms": dict(row.symptoms),
        "note": row.note,
        "explanation": row.explanation,
        "reported_at": instant(row.reported_at),
        "felt_on": row.felt_on.isoformat(),
        "session": str(session.uid),
        "version": row.version,
    }


def instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")
