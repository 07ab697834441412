"""A file of sets: CSV in UTF-8, comma or semicolon between the cells, one row per set.

The first line names the columns, in any order. A cell left empty takes the default.

  client        the client's id in the practice, or the exact name if one current client bears it
  performed_at  when the session began: 2026-03-02T18:30:00+01:00 (RFC 3339 with its offset), or a date like
                2026-03-02, which is read as noon of that day where the client lives
  exercise      the exercise's code, like back_squat
  side          left, right or both; default both
  kind          work or warm_up; default work
  load          a number with at most three decimals, as entered; default 0
  load_unit     kg or lb; default kg
  reps          whole repetitions; or else
  duration_s    whole seconds, for exercises that are held
  rir           repetitions in reserve, in half steps; default not known
  guessed_rir   reserve that the lifter stated during the set, in half steps; default not stated
  guessed_after_reps
                after how many of its repetitions that was, 0 for before the set; needed with guessed_rir
  ended_by      target, failure, pain, technique or other; default target
  tempo         like 3-1-1-0; default not known
  rest_s        whole seconds of rest before the set; default not known
  follows_previous
                yes for a set done at once after the one before it; default no
  position      the set's place in its session; default the order of the file
  to_confirm    yes for a load that nobody has confirmed yet, no for one that is right; default by the load
  session, set  ids (UUID); default made from client and time, so that the same file is the same sessions
  ended_at, session_rpe, session_note
                of the session, the same on each of its rows; default not known
  prescription, scheduled_session
                ids of the practice's own plan and calendar; default none

client, performed_at and exercise must be there, and reps or duration_s; the other columns may be left out.
Rows of one session, or else of one client and one performed_at, make one session. A row with a session and
without an exercise is a session without sets. What an export says beyond this (performed_on, version,
received_at, confirmed_at) is looked past. A text that an export begins with an apostrophe so that no
spreadsheet runs it is read without it. At most 50 MB and 500,000 rows.
"""

import sys
from collections.abc import Iterator
from datetime import date, datetime

from coaching.exchange.cells import Cells
from coaching.exchange.columns import SET_COLUMNS, SETS_FILE
from coaching.exchange.table import Tell, rows_of
from coaching.models import EndedBy, LoadUnit, SetKind, SetSide
from coaching.operations.import_rows import SessionSaid, SetContent, SetRow

CLIENT = ("client",)
NEEDED = ("performed_at", "exercise")
COUNTED_IN = ("reps", "duration_s")
GUESS = ("guessed_rir", "guessed_after_reps")

KINDS, SIDES, UNITS, ENDINGS = (tuple(each.values) for each in (SetKind, SetSide, LoadUnit, EndedBy))


def read_sets(
    text: str,
    *,
    names_clients: bool = True,
    zone: str | None = None,
    max_rows: int | None = None,
    tell: Tell = lambda n_rows: None,
) -> list[SetRow]:
    """The text's rows, each with what is wrong with it; `tell` hears now and then how many there are so far.

    Raises InvalidError for a text that is no such table.
    """
    needed = (*CLIENT, *NEEDED) if names_clients else NEEDED
    rows = rows_of(text, SETS_FILE, needed, either=COUNTED_IN, zone=zone, max_rows=max_rows, tell=tell)
    return list(_read_rows(rows, names_clients))


def _read_rows(rows: Iterator[Cells], names_clients: bool) -> Iterator[SetRow]:
    said = SessionSaid()
    for cells in rows:
        row = _read_row(cells, names_clients, said)
        said = row.session
        yield row


def _read_row(cells: Cells, names_clients: bool, before: SessionSaid) -> SetRow:
    if cells.problems:
        return SetRow(cells.line, cells.cells.get("client", ""), None, None, tuple(cells.problems))
    client = sys.intern(cells.text("client") if names_clients else cells.cells.get("client", ""))
    performed_at: datetime | date | None = cells.day_or_instant("performed_at")
    said = _read_session(cells)
    is_bare = said.uid is not None and not any(cells.cells.get(column) for column in SET_COLUMNS)
    content = None if is_bare else _read_content(cells)
    problems = tuple(cells.problems)
    return SetRow(
        cells.line,
        client,
        performed_at,
        None if problems else content,
        problems,
        before if said == before else said,  # one object for the many rows of one session
    )


def _read_session(cells: Cells) -> SessionSaid:
    return SessionSaid(
        uid=cells.id("session"),
        ended_at=cells.instant("ended_at"),
        session_rpe=cells.halves("session_rpe", 10),
        note=cells.prose("session_note", 2000, is_multiline=True),
        scheduled_session_uid=cells.id("scheduled_session"),
    )


def _read_content(cells: Cells) -> SetContent:
    content = SetContent(
        exercise_code=sys.intern(cells.text("exercise")),
        kind=cells.one_of("kind", KINDS, SetKind.WORK.value),
        side=cells.one_of("side", SIDES, SetSide.BOTH.value),
        load_thousandths=cells.load_thousandths("load"),
        load_unit=cells.one_of("load_unit", UNITS, LoadUnit.KG.value),
        reps=cells.whole("reps", 0, 1000),
        duration_s=cells.whole("duration_s", 1, 7200),
        rir=cells.halves("rir", 20),
        ended_by=cells.one_of("ended_by", ENDINGS, EndedBy.TARGET.value),
        tempo=cells.tempo("tempo"),
        guessed_rir=cells.halves("guessed_rir", 20),
        guessed_after_reps=cells.whole("guessed_after_reps", 0, 1000),
        uid=cells.id("set"),
        position=cells.whole("position", 1, 999),
        rest_s=cells.whole("rest_s", 0, 7200),
        follows_previous=bool(cells.yes_no("follows_previous")),
        prescription_uid=cells.id("prescription"),
        is_to_confirm=cells.yes_no("to_confirm"),
    )
    _check_guess(cells, content)
    if bool(cells.cells.get("reps")) == bool(cells.cells.get("duration_s")):
        cells.note("reps", "required", "Give reps or duration_s, one of the two.")
    return content


def _check_guess(cells: Cells, content: SetContent) -> None:
    for given, other in (GUESS, GUESS[::-1]):
        if cells.cells.get(given) and not cells.cells.get(other):
            cells.note(other, "required", f"Give it together with {given}.")
    if cells.cells.get("guessed_rir") and cells.cells.get("duration_s"):
        cells.note("guessed_rir", "invalid", "A guess belongs to a set that is counted in reps.")
    after, reps = content.guessed_after_reps, content.reps
    if after is not None and reps is not None and after > reps:
        cells.note("guessed_after_reps", "out_of_range", "The set has fewer repetitions than that.")
