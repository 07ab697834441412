"""Cells of one row of a table, read as what they should be; what is wrong is gathered, not raised."""

import re
import unicodedata
import uuid
from collections.abc import Collection, Mapping
from datetime import date, datetime
from zoneinfo import ZoneInfo

from coaching.compute.exposure import parse_tempo
from coaching.compute.units import parse_load
from coaching.exchange.cell_text import unguarded
from coaching.operations.import_rows import RowProblem

INSTANT = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d{1,6})?([Zz]|[+-](0\d|1[0-4]):[0-5]\d)", re.ASCII
)
DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
WHOLE = re.compile(r"\d{1,6}", re.ASCII)
WITHOUT_OFFSET = re.compile(r"\d{4}-\d{2}-\d{2}[ Tt]\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?", re.ASCII)
CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
NUMBER = re.compile(r"\d{1,7}(\.\d{1,340})?", re.ASCII)
HALVES = re.compile(r"\d{1,3}(\.[05]0*)?", re.ASCII)
FIRST_YEAR, LAST_YEAR = 1990, 2100
LONGEST_CELL = 200


class Cells:
    """One row's cells by their column; a column that the file leaves out reads as an empty cell."""

    def __init__(
        self,
        line: int,
        cells: Mapping[str, str],
        *,
        has_decimal_comma: bool = False,
        zone: str | None = None,
    ) -> None:
        self.line = line
        self.cells = cells
        self.has_decimal_comma = has_decimal_comma
        self.zone = zone
        self.problems: list[RowProblem] = []

    def note(self, column: str, code: str, detail: str) -> None:
        self.problems.append(RowProblem(self.line, column, code, detail))

    def text(self, column: str) -> str:
        """The cell that must be there; empty once noted."""
        cell = self.cells.get(column, "")
        if not cell:
            self.note(column, "required", "This cell is empty.")
        elif len(cell) > LONGEST_CELL:
            self.note(column, "too_long", f"More than {LONGEST_CELL} characters.")
            return ""
        return cell

    def prose(self, column: str, max_length: int, *, is_multiline: bool = False) -> str:
        """Free text, which may be empty; the same that a post may hold."""
        text = unguarded(self.cells.get(column, ""))
        if len(text) > max_length:
            self.note(column, "max_length", f"At most {max_length} characters.")
            return ""
        if CONTROL.search(text) or (not is_multiline and ("\n" in text or "\r" in text)):
            self.note(column, "control_character", "Control characters are not accepted here.")
            return ""
        return text

    def id(self, column: str) -> uuid.UUID | None:
        cell = self.cells.get(column)
        if not cell:
            return None
        try:
            found = uuid.UUID(cell) if len(cell) == 36 else None
        except ValueError:
            found = None
        if found is None or found.int in (0, 2**128 - 1):
            self.note(column, "invalid", "Give an id like 0b8f1c9e-5d0a-4a53-9c58-3f6a1d1f7c11.")
            return None
        return found

    def yes_no(self, column: str) -> bool | None:
        cell = self.cells.get(column)
        if not cell:
            return None
        if cell not in ("yes", "no"):
            self.note(column, "invalid_choice", "Give yes or no.")
            return None
        return cell == "yes"

    def one_of(self, column: str, words: Collection[str], default: str) -> str:
        cell = self.cells.get(column) or default
        for word in words:
            if word == cell:
                return word  # the word itself and not its copy in the cell, of which a long file has many
        self.note(column, "invalid_choice", f"Give one of {', '.join(words)}.")
        return default

    def whole(self, column: str, low: int, high: int) -> int | None:
        cell = self.cells.get(column)
        if not cell:
            return None
        if not WHOLE.fullmatch(cell) or not low <= int(cell) <= high:
            self.note(column, "invalid", f"Give a whole number from {low} to {high}.")
            return None
        return int(cell)

    def halves(self, column: str, high: int) -> float | None:
        cell = self._with_dot(column)
        if not cell:
            return None
        if not HALVES.fullmatch(cell) or float(cell) > high:
            self.note(column, "invalid", f"Give a number from 0 to {high} in steps of 0.5, with a dot.")
            return None
        return float(cell)

    def number(self, column: str, high: float, low: float = 0) -> float | None:
        cell = self._with_dot(column)
        if not cell:
            return None
        if not NUMBER.fullmatch(cell) or not low <= float(cell) <= high:
            self.note(column, "invalid", f"Give a number from {low} to {high}, with a dot.")
            return None
        return float(cell)

    def day(self, column: str) -> date | None:
        cell = self.text(column)
        if not cell:
            return None
        when = _day_or_instant(cell) if DAY.fullmatch(cell) else None
        if when is None or not FIRST_YEAR <= when.year <= LAST_YEAR:
            self.note(column, "invalid", f"Give a date from {FIRST_YEAR} to {LAST_YEAR}, like 2026-03-02.")
            return None
        return when

    def load_thousandths(self, column: str) -> int:
        cell = self._with_dot(column) or "0"
        try:
            return parse_load(cell[:LONGEST_CELL])
        except ValueError:
            self.note(
                column, "invalid", "Give a number from 0 to 2000 with a dot and at most three decimals."
            )
            return 0

    def tempo(self, column: str) -> str:
        cell = self.cells.get(column, "")
        if cell:
            try:
                parse_tempo(cell)
            except ValueError:
                self.note(column, "invalid", "Four figures like 3-1-1-0, X for as fast as possible.")
                return ""
        return cell

    def day_or_instant(self, column: str) -> datetime | date | None:
        cell = self.text(column)
        return (
            self._when(column, cell, "or a date: 2026-03-02T18:30:00+01:00 or 2026-03-02") if cell else None
        )

    def instant(self, column: str) -> datetime | None:
        cell = self.cells.get(column, "")
        if not cell:
            return None
        if DAY.fullmatch(cell):
            self.note(column, "invalid", "Give the time of day as well: 2026-03-02T18:30:00+01:00.")
            return None
        when = self._when(column, cell, "like 2026-03-02T18:30:00+01:00")
        return when if isinstance(when, datetime) else None

    def _when(self, column: str, cell: str, form: str) -> datetime | date | None:
        when: datetime | date | None
        if WITHOUT_OFFSET.fullmatch(cell):
            when = self._in_zone(column, cell)
            if when is None:
                return None
        else:
            when = _day_or_instant(cell)
        if when is None:
            self.note(column, "invalid", f"Give an instant with its offset {form}.")
        elif not FIRST_YEAR <= when.year <= LAST_YEAR:
            self.note(column, "out_of_range", f"The year must lie between {FIRST_YEAR} and {LAST_YEAR}.")
            return None
        return when

    def _in_zone(self, column: str, cell: str) -> datetime | None:
        """A time as a spreadsheet rewrites it; whose offset nobody can guess."""
        if self.zone is None:
            detail = "This time has no offset: write 2026-03-02T18:30:00+01:00, or name the zone of the file."
            self.note(column, "no_offset", detail)
            return None
        try:
            local = datetime.fromisoformat(cell.upper()).replace(tzinfo=ZoneInfo(self.zone))
        except ValueError:
            self.note(column, "invalid", "There is no such time.")
            return None
        if local.utcoffset() != local.replace(fold=1).utcoffset():
            detail = "The clocks are changed here: give this time with its offset."
            self.note(column, "no_offset", detail)
            return None
        return local

    def _with_dot(self, column: str) -> str:
        """The figures of a cell; where semicolons part the cells, a decimal comma is meant as a dot."""
        cell = self.cells.get(column) or ""
        return cell.replace(",", ".") if self.has_decimal_comma and "." not in cell else cell


def plain_cell(text: str) -> str:
    return unicodedata.normalize("NFC", text.strip())


def _day_or_instant(cell: str) -> datetime | date | None:
    try:
        if DAY.fullmatch(cell):
            return date.fromisoformat(cell)
        return datetime.fromisoformat(cell.upper()) if INSTANT.fullmatch(cell) else None
    except ValueError:
        return None
