"""Bring a file of sets into a practice by hand."""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

from coaching.exchange import sets_csv
from coaching.management.importing import ImportCommand
from coaching.models import Actor
from coaching.operations.imports import Asked, Imported, Tell, import_sets


class Command(ImportCommand):
    page = sets_csv.__doc__ or ""
    rules = (
        "Every row is checked first, and nothing is written while any row is bad. With --skip-bad a session\n"
        "with a bad row is left out whole, and the others are written; a bad row without a readable time\n"
        "takes all sessions of its client along. A file that is imported again writes nothing twice. What\n"
        "stands already is never overwritten: correct it through the API."
    )

    def read(self, text: str, *, zone: str | None, tell: Callable[[int], None]) -> list[Any]:
        return sets_csv.read_sets(text, zone=zone, tell=tell)

    def store(self, *, actor: Actor, rows: list[Any], now: datetime, asked: Asked, tell: Tell) -> Imported:
        return import_sets(actor=actor, rows=rows, now=now, asked=asked, tell=tell)

    def counts(self, brought: Imported) -> Iterator[str]:
        yield (
            f"{brought.sessions_new:,} sessions with {brought.sets_new:,} sets. "
            f"There already: {brought.sessions_standing:,}. Refused: {brought.sessions_refused:,}."
        )
        if brought.sets_to_confirm:
            yield f"{brought.sets_to_confirm:,} sets wait to be confirmed."
