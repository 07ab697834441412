"""The morning sheet as text for a terminal."""

import textwrap
from collections.abc import Iterator

from coaching.reads.sheet import MorningSheet
from coaching.reads.sheet_lines import SheetEntry, SheetLine

WIDTH = 100


def sheet_lines(sheet: MorningSheet) -> Iterator[str]:
    """The sheet, line by line, in the order a coach should read it."""
    yield f"Morning sheet of {sheet.sheet_on} for {sheet.coach_name} ({sheet.practice_name})"
    yield "=" * WIDTH
    for unscored in sheet.unscored:
        yield f"Could not be scored: {unscored.client_name} ({unscored.reason})"
    shown = [entry for entry in sheet.entries if entry.lines_shown]
    if not shown:
        yield "Nobody needs attention today."
    for number, entry in enumerate(shown, start=1):
        yield from _entry_lines(number, entry)
    yield from _folded_lines(sheet)
    for row in sheet.to_confirm:
        what = f"{row.exercise_name} on {row.performed_on}: {row.load_as_entered}"
        yield f"To confirm: {row.client_name}, {what}; it counts for nothing until someone confirms it"
    for restriction in sheet.expiring:
        yield f"Restriction ends {restriction.until_on}: {restriction.client_name}, {restriction.joint}"
    for newcomer in sheet.newcomers:
        yield f"Too little history yet: {newcomer.client_name}, since {newcomer.first_on}"
    if sheet.waiting_lifts:
        yield f"Lifts that cannot be assessed yet: {len(sheet.waiting_lifts)}"
    yield from textwrap.wrap(sheet.urgency_review_note, WIDTH)
    yield ""


def _entry_lines(number: int, entry: SheetEntry) -> Iterator[str]:
    yield f"{number}. {entry.client_name}"
    for line, asks in zip(entry.lines_shown, entry.asks_shown, strict=True):
        yield from textwrap.wrap(
            f"[{line.kind.replace('_', ' ')}, {_since(line)}] {line.sentence}",
            WIDTH,
            initial_indent="   ",
            subsequent_indent="     ",
        )
        for ask in asks:
            yield from textwrap.wrap(ask, WIDTH, initial_indent="     - ", subsequent_indent="       ")
        for text in (line.caution, line.refer_out):
            yield from textwrap.wrap(text, WIDTH, initial_indent="     ", subsequent_indent="     ")


def _since(line: SheetLine) -> str:
    since = "new today" if line.is_new else f"since {line.opened_on}"
    return f"{since}, worse since {line.worse_since_on}" if line.worse_since_on else since


def _folded_lines(sheet: MorningSheet) -> Iterator[str]:
    """What is not to be read first, and the sentence that says how it was told apart."""
    if sheet.lines_beyond:
        yield f"Lines beyond the first ten, on the sheet: {sheet.lines_beyond}"
    for entry in sheet.entries:
        for line in entry.lines:
            if line.may_be_chance:
                what = f"{line.kind.replace('_', ' ')}, {line.target}".removesuffix(", ")
                yield f"Also seen, may be chance: {entry.client_name}, {what}"
    yield from textwrap.wrap(sheet.screening.sentence, WIDTH)
