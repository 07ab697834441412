"""How a value stands in a cell: text that no spreadsheet runs as a formula, numbers exact, instants whole."""

import re
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

# What a spreadsheet overlooks before it looks for a formula: blanks, quotes, marks without a width.
_OVERLOOKED = r"\s\"'\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff"
_GUARDED = re.compile(rf"'|[{_OVERLOOKED}]*[=+\-@\t\r＝＋－＠]")


def guarded(text: str) -> str:
    """The text as a cell; with an apostrophe in front where it could be run, or begins with one itself."""
    return f"'{text}" if _GUARDED.match(text) else text


def unguarded(cell: str) -> str:
    """The text of a cell: takes away the one apostrophe that `guarded` put there, and no other."""
    return cell[1:] if cell.startswith("'") and _GUARDED.match(cell, 1) else cell


def load_cell(thousandths: int) -> str:
    """A load as entered, in its own unit."""
    return number_cell(Decimal(thousandths).scaleb(-3).normalize())


def number_cell(value: float | Decimal | None) -> str:
    """The shortest figures that mean this very number; nothing where it is not known."""
    if value is None:
        return ""
    exact = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    return format(exact.normalize(), "f") if exact else "0"


def whole_cell(value: int | None) -> str:
    return "" if value is None else str(value)


def instant_cell(value: datetime | None, zone: str) -> str:
    """RFC 3339 with the offset of that zone."""
    return "" if value is None else value.astimezone(ZoneInfo(zone)).isoformat()


def yes_no_cell(value: bool) -> str:
    return "yes" if value else "no"
