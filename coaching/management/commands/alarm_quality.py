"""Measure on generated clients how often the alerts are wrong, and how soon they are right."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from coaching.bench.picture import draw_trade_off
from coaching.bench.report import as_json_object, as_table, run_bench
from coaching.management.arguments import WholeNumber
from coaching.management.by_hand import CommandByHand, add_json
from coaching.management.whole_file import check_folder, whole_file

FEWEST, MOST = 10, 2000


class Command(CommandByHand):
    help = (
        "Plays invented clients whose truth is known night by night, and prints how often the alerts about "
        "pain, stalls and adherence are wrong and how soon they are right; the first two beside textbook "
        "rules and a detector that is told everything but the day. The same seed and size give the same "
        "numbers. Writes nothing but the picture, if one is asked for; needs no database."
    )
    ends = (
        "Ends with 0 if done; with 1 if the picture cannot be written; with 2 if asked wrongly; with 130 if "
        "interrupted: nothing is written then."
    )
    needs_database = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--seed", type=WholeNumber(0), default=7, help="what the clients are drawn from")
        parser.add_argument(
            "--size", type=WholeNumber(FEWEST, MOST), default=200, help="clients of each kind"
        )
        add_json(parser)
        parser.add_argument("--picture", type=Path, metavar="FILE.png", help="draw the trade-off as well")

    def handle(self, *args: Any, **options: Any) -> None:
        picture: Path | None = options["picture"]
        if picture is not None:
            check_folder(picture)
        result = run_bench(size=options["size"], seed=options["seed"], tell=self.progress())
        if picture is not None:
            with whole_file(picture) as file:
                file.write(draw_trade_off(result))
        self.say(options, as_json_object(result), [as_table(result)])
