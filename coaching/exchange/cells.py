"""Cells of one row of a table, read as what they should be; what is wrong is gathered, not raised."""

import re
from collections.abc import Collection, Mapping
from datetime import date, datetime

from coaching.compute.exposure import parse_tempo
from coaching.compute.units import parse_load
from coaching.operations.import_rows import RowProblem

INSTANT = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d{1,6})?([Zz]|[+-](0\d|1[0-4]):[0-5]\d)", re.ASCII
)
DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
WHOLE = re.compile(r"\d{1,6}", re.ASCII)
NUMBER = re.compile(r"\d{1,7}(\.\d{1,9})?", re.ASCII)
HALVES = re.compile(r"\d{1,3}(\.[05]0*)?", re.ASCII)
FIRST_YEAR, LAST_YEAR = 1990, 2100
LONGEST_CELL = 200


class Cells:
    """One row's cells by their column; a column that the file leaves out reads as an empty cell."""

    def __init__(self, line: int, cells: Mapping[str, str]) -> None:
        self.line = line
        self.cells = cells
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
        cell = self.cells.get(column)
        if not cell:
            return None
        if not HALVES.fullmatch(cell) or float(cell) > high:
            self.note(column, "invalid", f"Give a number from 0 to {high} in steps of 0.5, with a dot.")
            return None
        return float(cell)

    def number(self, column: str, high: float) -> float | None:
        cell = self.cells.get(column)
        if not cell:
            return None
        if not NUMBER.fullmatch(cell) or float(cell) > high:
            self.note(column, "invalid", f"Give a number from 0 to {high}, with a dot.")
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
        cell = self.cells.get(column) or "0"
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
        if not cell:
            return None
        when = _day_or_instant(cell)
        if when is None:
            detail = "Give an instant with its offset or a date: 2026-03-02T18:30:00+01:00 or 2026-03-02."
            self.note(column, "invalid", detail)
        elif not FIRST_YEAR <= when.year <= LAST_YEAR:
            self.note(column, "out_of_range", f"The year must lie between {FIRST_YEAR} and {LAST_YEAR}.")
            return None
        return when


def _day_or_instant(cell: str) -> datetime | date | None:
    try:
        if DAY.fullmatch(cell):
            return date.fromisoformat(cell)
        return datetime.fromisoformat(cell.upper()) if INSTANT.fullmatch(cell) else None
    except ValueError:
        return None
