"""Measure on generated clients how often the alerts are wrong, and how soon they are right."""

import json
from argparse import ArgumentParser, ArgumentTypeError
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from coaching.bench.picture import draw_trade_off
from coaching.bench.report import as_json_object, as_table, run_bench

FEWEST, MOST = 10, 2000


class Command(BaseCommand):
    help = (
        "Plays invented clients whose truth is known night by night, and prints how often the alerts about "
        "pain, stalls and adherence are wrong and how soon they are right; the first two beside textbook "
        "rules and a detector that is told everything but the day. The same seed and size give the same "
        "numbers."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--seed", type=_seed, default=7)
        parser.add_argument("--size", type=_size, default=200, help="clients of each kind")
        parser.add_argument("--json", action="store_true", help="one JSON object instead of tables")
        parser.add_argument("--picture", type=Path, metavar="FILE.png", help="draw the trade-off as well")

    def handle(self, *args: Any, **options: Any) -> None:
        picture: Path | None = options["picture"]
        if picture is not None and not picture.parent.is_dir():
            raise CommandError(f"There is no folder {picture.parent}.")
        result = run_bench(size=options["size"], seed=options["seed"], tell=self.stderr.write)
        if picture is not None:
            picture.write_bytes(draw_trade_off(result))
        if options["json"]:
            self.stdout.write(json.dumps(as_json_object(result), allow_nan=False))
        else:
            self.stdout.write(as_table(result))


def _seed(text: str) -> int:
    if not text.isdecimal():
        raise ArgumentTypeError("must be a whole number of 0 or more")
    return int(text)


def _size(text: str) -> int:
    if not (text.isdecimal() and FEWEST <= int(text) <= MOST):
        raise ArgumentTypeError(f"must be a whole number from {FEWEST} to {MOST}")
    return int(text)
