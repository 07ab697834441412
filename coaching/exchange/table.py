"""A CSV file as any program may write it: BOM or not, comma or semicolon, any line ends."""

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from coaching.errors import InvalidError
from coaching.exchange.cells import Cells, plain_cell

MAX_BYTES = 50_000_000
MAX_ROWS = 500_000
MAX_BLANK_LINES = 10_000
TOLD_EVERY = 1000
# A file of another kind is named by its first bytes: gzip; zip, as spreadsheets are kept in.
OTHER_FILES = {b"\x1f\x8b": "packed with gzip", b"PK\x03\x04": "a spreadsheet or another zip file"}

Tell = Callable[[int], None]


def text_of(path: Path) -> str:
    """The file's text. Raises InvalidError if it is too big or no UTF-8, OSError if it cannot be opened."""
    with path.open("rb") as file:
        return text_in(file.read(MAX_BYTES + 1))


def text_in(content: bytes) -> str:
    """The text of these bytes. Raises InvalidError if they are too many or no UTF-8."""
    if len(content) > MAX_BYTES:
        raise unreadable("too_big", f"The file is larger than {MAX_BYTES // 1_000_000} MB.")
    for beginning, kind in OTHER_FILES.items():
        if content.startswith(beginning):
            raise unreadable("not_csv", f"This is {kind}: save it as CSV in UTF-8.")
    if (at := content.find(b"\x00")) >= 0:
        line = content.count(b"\n", 0, at) + 1
        raise unreadable("nul_byte", f"Line {line} holds a NUL byte: save the file as UTF-8 text.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise unreadable("not_utf8", f"Line {line} is not UTF-8: save the file as UTF-8 text.") from None


def delimiter_of(text: str) -> str:
    """What stands between the cells of the first line that says anything."""
    first = next((line for line in io.StringIO(text, newline="") if line.strip()), "")
    return ";" if first.count(";") > first.count(",") else ","


def records(text: str, *, keeps_blank: bool = False) -> Iterator[tuple[int, list[str]]]:
    """Each record that says anything, with the line that it begins on; blank ones within too, if kept."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter_of(text), strict=True)
    blank: list[int] = []
    n_blank = 0
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader, None)
        except csv.Error as error:
            raise unreadable("not_csv", f"Line {line} cannot be read as CSV: {error}.") from None
        if cells is None:
            return
        if any(cell.strip() for cell in cells):
            yield from ((blank_line, []) for blank_line in blank)
            blank.clear()
            yield line, cells
            continue
        n_blank += 1
        if n_blank > MAX_BLANK_LINES:
            raise unreadable("too_many_blank_lines", f"More than {MAX_BLANK_LINES:,} lines are blank.")
        if keeps_blank:
            blank.append(line)


def rows_of(
    text: str,
    known: Sequence[str],
    needed: Sequence[str],
    *,
    either: Sequence[str] = (),
    zone: str | None = None,
    max_rows: int | None = None,
    tell: Tell = lambda n_rows: None,
) -> Iterator[Cells]:
    """Each row's cells by column, of which `either` one must be there as well as all that are `needed`.

    `zone` is where times without an offset were written. What is empty beyond the last column is overlooked.
    Raises InvalidError for a text that is no such table.
    """
    rest = records(text)
    line, names = next(rest, (1, []))
    columns = [name.strip() for name in names]
    while columns and not columns[-1]:
        columns.pop()
    check_columns(line, columns, known, needed)
    if either and not set(either) & set(columns):
        raise unreadable("missing_column", f"Line {line} names no column {' or '.join(either)}.")
    has_decimal_comma = delimiter_of(text) == ";"
    most = MAX_ROWS if max_rows is None else max_rows
    for n_before, (line, found) in enumerate(rest):
        if n_before == most:
            raise unreadable("too_many_rows", f"The file has more than {most:,} rows.")
        if n_before % TOLD_EVERY == TOLD_EVERY - 1:
            tell(n_before + 1)
        yield _row(line, columns, found, has_decimal_comma, zone)


def _row(
    line: int, columns: Sequence[str], found: Sequence[str], has_decimal_comma: bool, zone: str | None
) -> Cells:
    width = len(columns)
    texts = zip(columns, map(plain_cell, found), strict=False)
    cells = Cells(line, dict(texts), has_decimal_comma=has_decimal_comma, zone=zone)
    if len(found) < width or any(cell.strip() for cell in found[width:]):
        cells.note("", "cells", f"The row has {len(found)} cells where the first line has {width}.")
    return cells


def check_columns(line: int, columns: Sequence[str], known: Sequence[str], needed: Sequence[str]) -> None:
    """Raises InvalidError for a first line with an unknown, a repeated or a missing column."""
    if not columns:
        raise unreadable("no_columns", "The file is empty; its first line must name the columns.")
    for place, name in enumerate(columns):
        if name not in known:
            detail = f"Line {line}: {name[:40]!r} is no column of such a file; it knows {', '.join(known)}."
            raise unreadable("unknown_column", detail)
        if name in columns[:place]:
            raise unreadable("repeated_column", f"Line {line} names the column {name} twice.")
    for name in needed:
        if name not in columns:
            raise unreadable("missing_column", f"Line {line} names no column {name}.")


def unreadable(code: str, detail: str) -> InvalidError:
    return InvalidError.at("file", code, detail)
