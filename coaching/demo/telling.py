"""The morning sheet as text for a terminal."""

import textwrap
from collections.abc import Iterator

from coaching.reads.sheet import MorningSheet, SheetEntry

WIDTH = 100


def sheet_lines(sheet: MorningSheet) -> Iterator[str]:
    """The sheet, line by line, in the order a coach should read it."""
    yield f"Morning sheet of {sheet.sheet_on} for {sheet.coach_name} ({sheet.practice_name})"
    yield "=" * WIDTH
    for unscored in sheet.unscored:
        yield f"Could not be scored: {unscored.client_name} ({unscored.reason})"
    if not sheet.entries:
        yield "Nobody needs attention today."
    for number, entry in enumerate(sheet.entries, start=1):
        yield from _entry_lines(number, entry)
    for row in sheet.to_confirm:
        what = f"{row.exercise_name} on {row.performed_on}: {row.load_as_entered}"
        yield f"To confirm: {row.client_name}, {what}; it counts for nothing until someone confirms it"
    for restriction in sheet.expiring:
        yield f"Restriction ends {restriction.until_on}: {restriction.client_name}, {restriction.joint}"
    for newcomer in sheet.newcomers:
        yield f"Too little history yet: {newcomer.client_name}, since {newcomer.first_on}"
    yield from textwrap.wrap(sheet.urgency_review_note, WIDTH)
    yield ""


def _entry_lines(number: int, entry: SheetEntry) -> Iterator[str]:
    yield f"{number}. {entry.client_name}"
    for line in entry.lines:
        since = "new today" if line.is_new else f"since {line.opened_on}"
        yield from textwrap.wrap(
            f"[{line.kind.replace('_', ' ')}, {since}] {line.sentence}",
            WIDTH,
            initial_indent="   ",
            subsequent_indent="     ",
        )
        for text in (line.caution, line.refer_out):
            yield from textwrap.wrap(text, WIDTH, initial_indent="     ", subsequent_indent="     ")
