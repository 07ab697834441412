"""A file of sets: CSV in UTF-8, comma or semicolon between the cells, one row per set.

The first line names the columns, in any order. A cell left empty takes the default.

  client        the client's id in the practice, or the exact name if one current client bears it
  performed_at  when the session began: 2026-03-02T18:30:00+01:00 (RFC 3339 with its offset), or a date like
                2026-03-02, which is read as noon of that day where the client lives
  exercise      the exercise's code, like back_squat
  side          left, right or both; default both
  kind          work or warm_up; default work
  load          a number with a dot and at most three decimals, as entered; default 0
  load_unit     kg or lb; default kg
  reps          whole repetitions; or else
  duration_s    whole seconds, for exercises that are held
  rir           repetitions in reserve, in half steps; default not known
  guessed_rir   reserve that the lifter stated during the set, in half steps; default not stated
  guessed_after_reps
                after how many of its repetitions that was, 0 for before the set; needed with guessed_rir
  ended_by      target, failure, pain, technique or other; default target
  tempo         like 3-1-1-0; default not known

client, performed_at and exercise must be there, and reps or duration_s; the other columns may be left out.
Rows of one client and one performed_at make one session, with its sets in the order of the file.
At most 50 MB and 500,000 rows.
"""

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from coaching.exchange.cells import Cells
from coaching.exchange.table import check_columns, plain_cell, records, text_of, unreadable
from coaching.models import EndedBy, LoadUnit, SetKind, SetSide
from coaching.operations.import_rows import SetContent, SetRow

MAX_ROWS = 500_000

NEEDED = ("client", "performed_at", "exercise")
COUNTED_IN = ("reps", "duration_s")
GUESS = ("guessed_rir", "guessed_after_reps")
COLUMNS = (*NEEDED, "side", "kind", "load", "load_unit", *COUNTED_IN, "rir", *GUESS, "ended_by", "tempo")

KINDS, SIDES, UNITS, ENDINGS = (tuple(each.values) for each in (SetKind, SetSide, LoadUnit, EndedBy))
TOLD_EVERY = 1000


def read_sets(path: Path, tell: Callable[[int], None] = lambda n_rows: None) -> list[SetRow]:
    """The file's rows, each with what is wrong with it; `tell` hears now and then how many there are so far.

    Raises InvalidError for a file that is no such table, OSError for one that cannot be opened.
    """
    rest = records(text_of(path))
    line, names = next(rest, (1, []))
    columns = [name.strip() for name in names]
    check_columns(line, columns, COLUMNS, NEEDED)
    _check_counted(line, columns)
    rows: list[SetRow] = []
    for line, cells in rest:
        if len(rows) == MAX_ROWS:
            raise unreadable("too_many_rows", f"The file has more than {MAX_ROWS:,} rows.")
        rows.append(_read_row(line, columns, cells))
        if len(rows) % TOLD_EVERY == 0:
            tell(len(rows))
    return rows


def _check_counted(line: int, columns: Sequence[str]) -> None:
    if not set(COUNTED_IN) & set(columns):
        raise unreadable("missing_column", f"Line {line} names no column {' or '.join(COUNTED_IN)}.")


def _read_row(line: int, columns: Sequence[str], found: Sequence[str]) -> SetRow:
    cells = Cells(line, dict(zip(columns, (plain_cell(text) for text in found), strict=False)))
    if len(found) != len(columns):
        cells.note("", "cells", f"The row has {len(found)} cells where the first line has {len(columns)}.")
        return SetRow(line, cells.cells.get("client", ""), None, None, tuple(cells.problems))
    client = sys.intern(cells.text("client"))
    performed_at = cells.day_or_instant("performed_at")
    content = _read_content(cells)
    problems = tuple(cells.problems)
    return SetRow(line, client, performed_at, None if problems else content, problems)


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
