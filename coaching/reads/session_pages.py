"""The sets and pain reports of a page of sessions as plain rows: two queries, whatever the page."""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple

from coaching.models import LoggedSet, PainReport, Session
from coaching.models.base import ListQuerySet
from coaching.reads.newest import Mark, mark_of_records


class SetRow(NamedTuple):
    """A set as it is shown; a tuple, since a page may have thousands."""

    uid: uuid.UUID
    exercise_code: str
    kind: str
    side: str
    load_thousandths: int
    load_unit: str
    reps: int | None
    duration_s: int | None
    rir: float | None
    guessed_rir: float | None
    guessed_after_reps: int | None
    ended_by: str
    tempo: str
    rest_s: int | None
    follows_position: int | None
    prescription_uid: uuid.UUID | None
    is_to_confirm: bool


class ReportRow(NamedTuple):
    """A pain report as it is shown with its session."""

    uid: uuid.UUID
    joint: str
    side: str
    other_site: str
    moment: str
    pain: int
    symptoms: Mapping[str, Any]
    note: str
    explanation: str
    reported_at: datetime
    felt_on: date
    version: int


@dataclass(frozen=True, slots=True)
class SessionContent:
    """Sets in their order, reports in the order they were stored in."""

    sets: list[SetRow]
    reports: list[ReportRow]


SET_COLUMNS = (
    "session_id", "uid", "exercise__code", "kind", "side", "load_thousandths", "load_unit", "reps",
    "duration_s", "rir", "guessed_rir", "guessed_after_reps", "ended_by", "tempo", "rest_s",
    "follows_position", "prescription__uid", "is_to_confirm",
)  # fmt: skip
REPORT_COLUMNS = (
    "session_id", "uid", "joint", "side", "other_site", "moment", "pain", "symptoms", "note", "explanation",
    "reported_at", "felt_on", "version",
)  # fmt: skip


OF_REPORT = REPORT_COLUMNS[1:]


@dataclass(frozen=True, slots=True)
class OpenedSessions:
    """`mark` differs whenever any session of the client does."""

    rows: ListQuerySet[Session]
    mark: Mark | None


def opened_sessions(client_id: int) -> OpenedSessions:
    """A client's kept sessions, each with the scheduled session that it was done for."""
    kept = Session.objects.filter(client_id=client_id).kept()
    return OpenedSessions(kept.select_related("client", "scheduled_session"), mark_of_records(client_id))


def contents_of(sessions: Collection[Session]) -> Mapping[int, SessionContent]:
    """What these sessions hold, by their key."""
    keys = [session.id for session in sessions]
    found: defaultdict[int, SessionContent] = defaultdict(lambda: SessionContent([], []))
    sets: Iterable[Any] = LoggedSet.objects.filter(session_id__any_of=keys).order_by("position")
    for session_id, *cells in sets.values_list(*SET_COLUMNS):  # type: ignore[attr-defined]
        found[session_id].sets.append(SetRow(*cells))
    reports: Iterable[Any] = PainReport.objects.filter(session_id__any_of=keys).order_by("id")
    for session_id, *cells in reports.values_list(*REPORT_COLUMNS):  # type: ignore[attr-defined]
        found[session_id].reports.append(ReportRow(*cells))
    return found


def content_held(session: Session) -> SessionContent:
    """What a session holds whose sets and reports have been read, or stored, with it."""
    sets = [
        SetRow(
            uid=row.uid,
            exercise_code=row.exercise.code,
            kind=row.kind,
            side=row.side,
            load_thousandths=row.load_thousandths,
            load_unit=row.load_unit,
            reps=row.reps,
            duration_s=row.duration_s,
            rir=row.rir,
            guessed_rir=row.guessed_rir,
            guessed_after_reps=row.guessed_after_reps,
            ended_by=row.ended_by,
            tempo=row.tempo,
            rest_s=row.rest_s,
            follows_position=row.follows_position,
            prescription_uid=row.prescription.uid if row.prescription else None,
            is_to_confirm=row.is_to_confirm,
        )
        for row in session.sets.all()
    ]
    reports = session.pain_reports.all()
    return SessionContent(sets, [ReportRow(*(getattr(row, name) for name in OF_REPORT)) for row in reports])
