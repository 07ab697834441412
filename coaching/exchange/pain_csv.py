"""A file of pain reports: CSV in UTF-8, comma or semicolon between the cells, one row per report.

The first line names the columns, in any order. A cell left empty takes the default.

  client        the client's id in the practice, or the exact name if one current client bears it
  joint, side   the site, like knee and left; neck and spine are midline
  other_site    where it is, for the joint other
  moment        before, during, after, next_morning or at_rest
  pain          0 to 10, whole
  symptoms      answers to coded questions, like night_pain:yes numbness:no; default none answered
  note, explanation
                free text; default none
  reported_at   when it was said: 2026-03-02T18:30:00+01:00 (RFC 3339 with its offset)
  session       the id of the session it belongs to, which must be there already; default none
  pain_report   its id (UUID); default made from client, site, moment and time

client, joint, side, moment, pain and reported_at must be there. What an export says beyond this (felt_on,
received_at) is looked past. At most 50 MB and 500,000 rows.
"""

import sys

from coaching.exchange.cells import Cells
from coaching.exchange.columns import PAIN_FILE
from coaching.exchange.table import Tell, rows_of
from coaching.models import MIDLINE_JOINTS, Joint, PainMoment, SiteSide
from coaching.operations.entries import PainEntry
from coaching.operations.import_rows import UNNAMED, PainRow
from coaching.reads.symptoms import SYMPTOM_CODES

NEEDED = ("joint", "side", "moment", "pain", "reported_at")
ANSWERS = ("yes", "no", "not_answered")


def read_pain_reports(
    text: str,
    *,
    names_clients: bool = True,
    zone: str | None = None,
    max_rows: int | None = None,
    tell: Tell = lambda n_rows: None,
) -> list[PainRow]:
    """The text's rows, each with what is wrong with it. Raises InvalidError for no such table."""
    needed = ("client", *NEEDED) if names_clients else NEEDED
    rows = rows_of(text, PAIN_FILE, needed, zone=zone, max_rows=max_rows, tell=tell)
    return [_read_row(cells, names_clients) for cells in rows]


def symptoms_cell(symptoms: dict[str, str]) -> str:
    return " ".join(f"{code}:{answer}" for code, answer in sorted(symptoms.items()))


def _read_row(cells: Cells, names_clients: bool) -> PainRow:
    if cells.problems:
        return PainRow(cells.line, cells.cells.get("client", ""), None, tuple(cells.problems))
    client = sys.intern(cells.text("client") if names_clients else cells.cells.get("client", ""))
    joint = cells.one_of("joint", Joint.values, "")
    side = cells.one_of("side", SiteSide.values, "")
    other_site = cells.prose("other_site", 80)
    _check_site(cells, joint, side, other_site)
    moment = cells.one_of("moment", PainMoment.values, "")
    pain = cells.whole("pain", 0, 10)
    reported_at = cells.instant("reported_at")
    for column in ("pain", "reported_at"):
        if not cells.cells.get(column):
            cells.note(column, "required", "This cell is empty.")
    uid, session_uid = cells.id("pain_report"), cells.id("session")
    symptoms = _symptoms(cells)
    note = cells.prose("note", 2000, is_multiline=True)
    explanation = cells.prose("explanation", 300)
    if cells.problems or pain is None or reported_at is None:
        return PainRow(cells.line, client, None, tuple(cells.problems))
    entry = PainEntry(
        uid=uid or UNNAMED,
        joint=joint,
        side=side,
        other_site=other_site,
        moment=moment,
        pain=pain,
        symptoms=symptoms,
        note=note,
        reported_at=reported_at,
        session_uid=session_uid,
        explanation=explanation,
    )
    return PainRow(cells.line, client, entry)


def _check_site(cells: Cells, joint: str, side: str, other_site: str) -> None:
    if joint == Joint.OTHER and not other_site:
        cells.note("other_site", "required", "Say where.")
    elif joint and side and joint != Joint.OTHER and (joint in MIDLINE_JOINTS) != (side == SiteSide.MIDLINE):
        cells.note("side", "impossible_site", "The spine is midline; every other joint is left or right.")


def _symptoms(cells: Cells) -> dict[str, str]:
    found: dict[str, str] = {}
    for part in cells.cells.get("symptoms", "").split():
        code, _, answer = part.partition(":")
        if code not in SYMPTOM_CODES:
            cells.note("symptoms", "unknown", f"There is no such symptom code: {code[:40]!r}.")
        elif answer not in ANSWERS:
            cells.note("symptoms", "invalid_choice", f"Answer {code} with one of {', '.join(ANSWERS)}.")
        elif code in found:
            cells.note("symptoms", "repeated", f"{code} is answered twice.")
        else:
            found[code] = answer
        if len(cells.problems) > 10:
            break
    return found
