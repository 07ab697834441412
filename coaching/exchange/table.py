"""A CSV file as any program may write it: BOM or not, comma or semicolon, any line ends."""

import csv
import io
import unicodedata
from collections.abc import Iterator, Sequence
from pathlib import Path

from coaching.errors import InvalidError

MAX_BYTES = 50_000_000


def text_of(path: Path) -> str:
    """The file's text. Raises InvalidError if it is too big or no UTF-8, OSError if it cannot be opened."""
    with path.open("rb") as file:
        content = file.read(MAX_BYTES + 1)
    if len(content) > MAX_BYTES:
        raise unreadable("too_big", f"The file is larger than {MAX_BYTES // 1_000_000} MB.")
    if (at := content.find(b"\x00")) >= 0:
        line = content.count(b"\n", 0, at) + 1
        raise unreadable("nul_byte", f"Line {line} holds a NUL byte: save the file as UTF-8 text.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise unreadable("not_utf8", f"Line {line} is not UTF-8: save the file as UTF-8 text.") from None


def records(text: str, *, keeps_blank: bool = False) -> Iterator[tuple[int, list[str]]]:
    """Each record that says anything, with the line that it begins on; blank ones within too, if kept."""
    first = next((line for line in io.StringIO(text) if line.strip()), "")
    delimiter = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    blank: list[int] = []
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
        elif keeps_blank:
            blank.append(line)


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


def plain_cell(text: str) -> str:
    return unicodedata.normalize("NFC", text.strip())


def unreadable(code: str, detail: str) -> InvalidError:
    return InvalidError.at("file", code, detail)
