"""Bring a file of plans into a practice by hand."""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

from coaching.exchange import plans_csv
from coaching.management.importing import ImportCommand
from coaching.models import Actor
from coaching.operations.import_plans import ImportedPlans, import_plans
from coaching.operations.imports import Asked, Tell


class Command(ImportCommand):
    page = plans_csv.__doc__ or ""
    rules = (
        "Every plan is checked first, and nothing is written while any row is bad. With --skip-bad a plan\n"
        "with a bad row is left out whole. A file that is imported again writes nothing twice, and\n"
        "overwrites nothing."
    )
    has_links = False

    def read(self, text: str, *, zone: str | None, tell: Callable[[int], None]) -> list[Any]:
        return plans_csv.read_plans(text, zone=zone, tell=tell)

    def store(
        self, *, actor: Actor, rows: list[Any], now: datetime, asked: Asked, tell: Tell
    ) -> ImportedPlans:
        return import_plans(actor=actor, rows=rows, now=now, asked=asked, tell=tell)

    def counts(self, brought: ImportedPlans) -> Iterator[str]:
        yield (
            f"{brought.plans_new:,} plans. "
            f"There already: {brought.plans_standing:,}. Refused: {brought.plans_refused:,}."
        )
