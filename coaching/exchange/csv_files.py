"""Records written as CSV (RFC 4180), piece by piece, so that a long file needs little memory."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

from coaching.exchange.cell_text import guarded, instant_cell, load_cell, number_cell, whole_cell, yes_no_cell
from coaching.exchange.columns import PAIN_FILE, PLANS_FILE, SETS_FILE
from coaching.exchange.pain_csv import symptoms_cell
from coaching.exchange.plans_csv import NO_LEVER, steps_cell
from coaching.models import LoggedSet, PainReport, PlanVersion, Session
from coaching.reads.exports import pain_reports_of, plan_versions_of, sessions_of
from coaching.reads.plans import BlockContent, DayContent, PrescriptionContent, content_of

FORM = "1"  # part of every tag: another layout of the file is another file
ROWS_IN_PIECE = 200

Row = dict[str, str]


def sets_file(session_keys: Sequence[int]) -> Iterator[bytes]:
    return _pieces(SETS_FILE, (row for session in sessions_of(session_keys) for row in _set_rows(session)))


def pain_reports_file(report_keys: Sequence[int]) -> Iterator[bytes]:
    return _pieces(PAIN_FILE, map(_pain_row, pain_reports_of(report_keys)))


def plans_file(version_keys: Sequence[int]) -> Iterator[bytes]:
    rows = (row for version in plan_versions_of(version_keys) for row in _plan_rows(version))
    return _pieces(PLANS_FILE, rows)


def _pieces(columns: Sequence[str], rows: Iterable[Row]) -> Iterator[bytes]:
    page = io.StringIO(newline="")
    writer = csv.DictWriter(page, columns, restval="", lineterminator="\r\n")
    writer.writeheader()
    for n_rows, row in enumerate(rows, start=1):
        writer.writerow(row)
        if n_rows % ROWS_IN_PIECE == 0:
            yield page.getvalue().encode()
            page.seek(0)
            page.truncate()
    yield page.getvalue().encode()


def _set_rows(session: Session) -> Iterator[Row]:
    """A row for each set with what is said of the session, or a single one for a session without sets."""
    scheduled = session.scheduled_session
    shared = {
        "client": str(session.client.uid),
        "session": str(session.uid),
        "performed_at": instant_cell(session.performed_at, session.zone),
        "ended_at": instant_cell(session.ended_at, session.zone),
        "performed_on": session.performed_on.isoformat(),
        "session_rpe": number_cell(session.session_rpe),
        "session_note": guarded(session.note),
        "scheduled_session": str(scheduled.uid) if scheduled else "",
        "version": str(session.version),
        "received_at": session.received_at.isoformat(),
    }
    sets = session.sets.all()
    if not sets:
        yield shared
    for row in sets:
        yield shared | _set_cells(row, session.zone)


def _set_cells(row: LoggedSet, zone: str) -> Row:
    return {
        "set": str(row.uid),
        "position": str(row.position),
        "exercise": row.exercise.code,
        "side": row.side,
        "kind": row.kind,
        "load": load_cell(row.load_thousandths),
        "load_unit": row.load_unit,
        "reps": whole_cell(row.reps),
        "duration_s": whole_cell(row.duration_s),
        "rir": number_cell(row.rir),
        "guessed_rir": number_cell(row.guessed_rir),
        "guessed_after_reps": whole_cell(row.guessed_after_reps),
        "ended_by": row.ended_by,
        "tempo": row.tempo,
        "rest_s": whole_cell(row.rest_s),
        "follows_previous": yes_no_cell(row.follows_position is not None),
        "prescription": str(row.prescription.uid) if row.prescription else "",
        "to_confirm": yes_no_cell(row.is_to_confirm),
        "confirmed_at": instant_cell(row.confirmed_at, zone),
    }


def _pain_row(report: PainReport) -> Row:
    return {
        "client": str(report.client.uid),
        "pain_report": str(report.uid),
        "session": str(report.session.uid) if report.session else "",
        "joint": report.joint,
        "side": report.side,
        "other_site": guarded(report.other_site),
        "moment": report.moment,
        "pain": str(report.pain),
        "symptoms": symptoms_cell(report.symptoms),
        "note": guarded(report.note),
        "explanation": guarded(report.explanation),
        "reported_at": instant_cell(report.reported_at, report.client.zone),
        "felt_on": report.felt_on.isoformat(),
        "received_at": report.received_at.isoformat(),
    }


def _plan_rows(version: PlanVersion) -> Iterator[Row]:
    content = content_of(version)
    of_plan = {
        "plan": str(version.plan.uid),
        "plan_name": guarded(content.name),
        "version": str(version.number),
        "version_created_at": version.created_at.isoformat(),
        "weeks": str(content.weeks),
        "deload_weeks": " ".join(map(str, content.deload_weeks)),
    }
    for i, (day_row, day) in enumerate(zip(version.days.all(), content.days, strict=True), start=1):
        of_day = of_plan | _day_cells(i, day)
        for j, (block_row, block) in enumerate(zip(day_row.blocks.all(), day.blocks, strict=True), start=1):
            of_block = of_day | _block_cells(j, block)
            rows = block_row.prescriptions.all()
            for k, (row, prescription) in enumerate(zip(rows, block.prescriptions, strict=True), start=1):
                place = {"prescription": str(row.uid), "position": str(k)}
                yield of_block | place | _prescription_cells(prescription)


def _day_cells(number: int, day: DayContent) -> Row:
    return {"day": str(number), "weekday": str(day.weekday), "day_name": guarded(day.name)}


def _block_cells(number: int, block: BlockContent) -> Row:
    return {
        "block": str(number),
        "block_kind": block.kind,
        "block_rest_s": str(block.rest_s),
        "levers": " ".join(block.levers) or NO_LEVER,
    }


def _prescription_cells(content: PrescriptionContent) -> Row:
    return {
        "exercise": content.exercise,
        "side": content.side,
        "sets": str(content.sets),
        "reps_low": whole_cell(content.reps_low),
        "reps_high": whole_cell(content.reps_high),
        "duration_s": whole_cell(content.duration_s),
        "effort_target": content.effort_target,
        "rir_target": number_cell(content.rir_target),
        "load_rule": content.load_rule,
        "load_kg": number_cell(content.load_kg),
        "share_of_1rm": number_cell(content.share_of_1rm),
        "tempo": content.tempo,
        "rest_s": whole_cell(content.rest_s),
        "has_warm_up_ramp": yes_no_cell(content.has_warm_up_ramp),
        "warm_up_steps": steps_cell(content.warm_up_steps),
        "alternatives": " ".join(content.alternatives),
    }
