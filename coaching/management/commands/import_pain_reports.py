"""Bring a file of pain reports into a practice by hand."""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

from coaching.exchange import pain_csv
from coaching.management.importing import ImportCommand
from coaching.models import Actor
from coaching.operations.import_pain import ImportedPain, import_pain_reports
from coaching.operations.imports import Asked, Tell


class Command(ImportCommand):
    page = pain_csv.__doc__ or ""
    rules = (
        "Every row is checked first, and nothing is written while any row is bad. With --skip-bad the good\n"
        "ones are written. A file that is imported again writes nothing twice, and overwrites nothing. What\n"
        "is urgent is mailed as if it had been posted today."
    )

    def read(self, text: str, *, zone: str | None, tell: Callable[[int], None]) -> list[Any]:
        return pain_csv.read_pain_reports(text, zone=zone, tell=tell)

    def store(
        self, *, actor: Actor, rows: list[Any], now: datetime, asked: Asked, tell: Tell
    ) -> ImportedPain:
        return import_pain_reports(actor=actor, rows=rows, now=now, asked=asked, tell=tell)

    def counts(self, brought: ImportedPain) -> Iterator[str]:
        yield (
            f"{brought.reports_new:,} pain reports. "
            f"There already: {brought.reports_standing:,}. Refused: {brought.reports_refused:,}."
        )
        if brought.urgent:
            yield f"{brought.urgent:,} of them are urgent: see the alerts."
