"""The morning sheet as JSON, by hand: what `SheetOut` says, without asking a field object for each value.

`tests/api/test_hot_bodies.py` holds the two against each other.
"""

from typing import Any

from api.picture_links import picture_link
from api.plain import computed_body, day_or_none
from coaching.reads.sheet import MorningSheet, WaitingLift
from coaching.reads.sheet_lines import Screening, SheetEntry, SheetLine


def sheet_body(sheet: MorningSheet) -> dict[str, Any]:
    return {
        "practice_name": sheet.practice_name,
        "coach_name": sheet.coach_name,
        "sheet_on": sheet.sheet_on.isoformat(),
        "last_night_on": day_or_none(sheet.last_night_on),
        "nights_caught_up": sheet.nights_caught_up,
        "nights_skipped": sheet.nights_skipped,
        "unscored": [
            {"client": str(row.client_uid), "client_name": row.client_name, "reason": row.reason}
            for row in sheet.unscored
        ],
        "withdrawn": [
            {
                "client": str(row.client_uid),
                "client_name": row.client_name,
                "withdrawn_on": row.withdrawn_on.isoformat(),
            }
            for row in sheet.withdrawn
        ],
        "alerts_new": sheet.alerts_new,
        "alerts_worse": sheet.alerts_worse,
        "lines_beyond": sheet.lines_beyond,
        "screening": _screening(sheet.screening),
        "entries": [_entry(entry) for entry in sheet.entries],
        "to_confirm": [
            {
                "set": str(row.set_uid),
                "client": str(row.client_uid),
                "client_name": row.client_name,
                "exercise_name": row.exercise_name,
                "performed_on": row.performed_on.isoformat(),
                "load_as_entered": row.load_as_entered,
            }
            for row in sheet.to_confirm
        ],
        "expiring": [
            {
                "client": str(row.client_uid),
                "client_name": row.client_name,
                "joint": row.joint,
                "side": row.side,
                "kind": row.kind,
                "until_on": row.until_on.isoformat(),
            }
            for row in sheet.expiring
        ],
        "newcomers": [
            {
                "client": str(row.client_uid),
                "client_name": row.client_name,
                "first_on": row.first_on.isoformat(),
                "assessable_on": row.assessable_on.isoformat(),
            }
            for row in sheet.newcomers
        ],
        "waiting_lifts": [_waiting(row) for row in sheet.waiting_lifts],
        "urgency_review_note": sheet.urgency_review_note,
    }


def _screening(row: Screening) -> dict[str, Any]:
    return {
        "tests_run": row.tests_run,
        "found": row.found,
        "folded": row.folded,
        "false_discovery_rate": row.false_discovery_rate,
        "sentence": row.sentence,
        "computed": computed_body(row.computed),
    }


def _entry(entry: SheetEntry) -> dict[str, Any]:
    return {
        "client": str(entry.client_uid),
        "client_name": entry.client_name,
        "coach_name": entry.coach_name,
        "lines": [_line(line) for line in entry.lines],
    }


def _line(line: SheetLine) -> dict[str, Any]:
    return {
        "alert": str(line.alert_uid),
        "kind": line.kind,
        "target": line.target,
        "severity": line.severity,
        "status": line.status,
        "opened_on": line.opened_on.isoformat(),
        "is_new": line.is_new,
        "worse_since_on": day_or_none(line.worse_since_on),
        "p_value": line.p_value,
        "is_folded": line.is_folded,
        "folded_because": line.folded_because,
        "sentence": line.sentence,
        "worth_asking": list(line.worth_asking),
        "caution": line.caution,
        "refer_out": line.refer_out,
        "computed": computed_body(line.computed),
        "picture": picture_link(line.client_uid, line.target),
    }


def _waiting(row: WaitingLift) -> dict[str, Any]:
    return {
        "client": str(row.client_uid),
        "client_name": row.client_name,
        "exercise": row.exercise,
        "side": row.side,
        "track": row.track,
        "reason": row.reason,
        "reason_text": row.reason_text,
        "assessable_on": day_or_none(row.assessable_on),
        "computed": None if row.computed is None else computed_body(row.computed),
    }
