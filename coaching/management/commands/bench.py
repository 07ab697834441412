"""Measure how fast the service is, on data that it makes for itself."""

import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from coaching.management.arguments import WholeNumber
from coaching.management.by_hand import COULD_NOT, CommandByHand, add_json
from coaching.speed.measuring import Measured, as_lines, as_plain
from coaching.speed.own_database import BenchError
from coaching.speed.suites import SUITES, Suite


class Command(CommandByHand):
    help = (
        "Makes invented practices in a database of its own, measures there what the service does, the "
        "obvious way of doing it and the limit, in turn and several times, and prints the medians and their "
        "ratios. The database stands beside the one that is set, on the same server, and is dropped at the "
        "end; on the embedded default it is a file in a temporary folder. The same seed and sizes make the "
        "same data. Writes nothing else. Needs the development packages."
    )
    ends = (
        "Ends with 0 if measured, whatever the ratios are; with 1 if a part could not be run; with 2 if "
        "asked wrongly; with 130 if interrupted: the database of its own is dropped then as well."
    )
    interrupted = "Its own database is gone."
    needs_database = False

    def add_arguments(self, parser: CommandParser) -> None:
        suites = parser.add_subparsers(dest="suite", required=True, metavar="WHAT")
        for name, suite in SUITES.items():
            of_suite = suites.add_parser(name, help=suite.what)
            for size, default in suite.sizes.items():
                of_suite.add_argument(f"--{size.replace('_', '-')}", type=WholeNumber(1), default=default)
            of_suite.add_argument("--rounds", type=WholeNumber(1, 100), default=suite.rounds)
            of_suite.add_argument(
                "--seed", type=WholeNumber(0), default=7, help="what the clients are drawn from"
            )
            add_json(of_suite)

    def handle(self, *args: Any, **options: Any) -> None:
        suite = SUITES[options["suite"]]
        sizes = {size: options[size] for size in suite.sizes}
        measured = _measured(suite, sizes, options["rounds"], options["seed"], self.progress())
        self.say(options, as_plain(measured), as_lines(measured))


def _measured(
    suite: Suite, sizes: Mapping[str, int], rounds: int, seed: int, tell: Callable[[str], object]
) -> Measured:
    with tempfile.TemporaryDirectory() as folder:
        try:
            return suite.run(Path(folder), sizes, rounds, seed, tell)
        except BenchError as error:
            raise CommandError(str(error), returncode=COULD_NOT) from None
