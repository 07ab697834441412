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
  ended_by      target, failure, pain, technique or other; default target
  tempo         like 3-1-1-0; default not known

client, performed_at and exercise must be there, and reps or duration_s; the other columns may be left out.
Rows of one client and one performed_at make one session, with its sets in the order of the file.
At most 50 MB and 500,000 rows.
"""

import csv
import io
import sys
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from coaching.errors import InvalidError
from coaching.exchange.cells import Cells
from coaching.models import EndedBy, LoadUnit, SetKind, SetSide
from coaching.operations.import_rows import SetContent, SetRow

MAX_BYTES = 50_000_000
MAX_ROWS = 500_000

NEEDED = ("client", "performed_at", "exercise")
COUNTED_IN = ("reps", "duration_s")
COLUMNS = (*NEEDED, "side", "kind", "load", "load_unit", *COUNTED_IN, "rir", "ended_by", "tempo")

KINDS, SIDES, UNITS, ENDINGS = (tuple(each.values) for each in (SetKind, SetSide, LoadUnit, EndedBy))
TOLD_EVERY = 1000


def read_sets(path: Path, tell: Callable[[int], None] = lambda n_rows: None) -> list[SetRow]:
    """The file's rows, each with what is wrong with it; `tell` hears now and then how many there are so far.

    Raises InvalidError for a file that is no such table, OSError for one that cannot be opened.
    """
    records = _records(_text_of(path))
    line, names = next(records, (1, []))
    columns = [name.strip() for name in names]
    _check_columns(line, columns)
    rows: list[SetRow] = []
    for line, cells in records:
        if len(rows) == MAX_ROWS:
            raise _unreadable("too_many_rows", f"The file has more than {MAX_ROWS:,} rows.")
        rows.append(_read_row(line, columns, cells))
        if len(rows) % TOLD_EVERY == 0:
            tell(len(rows))
    return rows


def _text_of(path: Path) -> str:
    with path.open("rb") as file:
        content = file.read(MAX_BYTES + 1)
    if len(content) > MAX_BYTES:
        raise _unreadable("too_big", f"The file is larger than {MAX_BYTES // 1_000_000} MB.")
    if (at := content.find(b"\x00")) >= 0:
        line = content.count(b"\n", 0, at) + 1
        raise _unreadable("nul_byte", f"Line {line} holds a NUL byte: save the file as UTF-8 text.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise _unreadable("not_utf8", f"Line {line} is not UTF-8: save the file as UTF-8 text.") from None


def _records(text: str) -> Iterator[tuple[int, list[str]]]:
    """Each record that says anything, with the line that it begins on."""
    first = next((line for line in io.StringIO(text) if line.strip()), "")
    delimiter = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader, None)
        except csv.Error as error:
            raise _unreadable("not_csv", f"Line {line} cannot be read as CSV: {error}.") from None
        if cells is None:
            return
        if any(cell.strip() for cell in cells):
            yield line, cells


def _check_columns(line: int, columns: Sequence[str]) -> None:
    if not columns:
        raise _unreadable("no_columns", "The file is empty; its first line must name the columns.")
    for place, name in enumerate(columns):
        if name not in COLUMNS:
            detail = f"Line {line}: {name[:40]!r} is no column of such a file; it knows {', '.join(COLUMNS)}."
            raise _unreadable("unknown_column", detail)
        if name in columns[:place]:
            raise _unreadable("repeated_column", f"Line {line} names the column {name} twice.")
    missing = [name for name in NEEDED if name not in columns]
    if not set(COUNTED_IN) & set(columns):
        missing.append(" or ".join(COUNTED_IN))
    if missing:
        raise _unreadable("missing_column", f"Line {line} names no column {missing[0]}.")


def _read_row(line: int, columns: Sequence[str], found: Sequence[str]) -> SetRow:
    cells = Cells(line, dict(zip(columns, (_cell(text) for text in found), strict=False)))
    if len(found) != len(columns):
        cells.note("", "cells", f"The row has {len(found)} cells where the first line has {len(columns)}.")
        return SetRow(line, cells.cells.get("client", ""), None, None, tuple(cells.problems))
    client = sys.intern(cells.text("client"))
    performed_at = cells.day_or_instant("performed_at")
    content = _read_content(cells)
    problems = tuple(cells.problems)
    return SetRow(line, client, performed_at, None if problems else content, problems)


def _cell(text: str) -> str:
    return unicodedata.normalize("NFC", text.strip())


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
    )
    if bool(cells.cells.get("reps")) == bool(cells.cells.get("duration_s")):
        cells.note("reps", "required", "Give reps or duration_s, one of the two.")
    return content


def _unreadable(code: str, detail: str) -> InvalidError:
    return InvalidError.at("file", code, detail)
