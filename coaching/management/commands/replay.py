"""Play a history night by night and write what would have been flagged."""

import csv
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from coaching.errors import InvalidError
from coaching.exchange.history_csv import LIFT_COLUMNS, PAIN_COLUMNS, read_lift_history, read_pain_history
from coaching.exchange.replay import Flag, replay_lifts, replay_pain
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT, CommandByHand, add_json
from coaching.management.whole_file import check_folder, whole_file
from coaching.operations.import_rows import RowProblem

NAMES_OF = {"pain": ("client", "joint", "side"), "lifts": ("client", "exercise", "side")}
PROBLEMS_SHOWN = 200


class Command(CommandByHand):
    help = (
        "Replays a history as the nights would have seen it, without looking ahead, and writes the night on "
        "which each alert would have opened. Try your own past before you switch alerts on. "
        f"pain: a row per client, site and day, {','.join(PAIN_COLUMNS)} (pain empty if none was reported). "
        f"lifts: a row per work set, {','.join(LIFT_COLUMNS)}. Rows of a series stand in the order of their "
        "days. Writes the file of flags and nothing else; needs no database."
    )
    ends = (
        "Ends with 0 if done; with 1 if the history cannot be read or the flags cannot be written; with 2 if "
        "any row is bad or it was asked wrongly; with 130 if interrupted. The file of flags is written "
        "whole, and only by a run that ends with 0."
    )
    needs_database = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("what", choices=list(NAMES_OF), help="which history it is")
        parser.add_argument("file", type=Path, help="the history, as CSV")
        parser.add_argument("--out", type=Path, required=True, help="where the flags are written, as CSV")
        add_json(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        what, out = options["what"], options["out"]
        check_folder(out)
        try:
            flags, problems = _replay(what, options["file"], self.progress())
        except InvalidError as error:
            raise CommandError(error.detail, returncode=ASKED_WRONGLY) from None
        except OSError as error:
            raise CommandError(
                f"{options['file']} cannot be read: {error.strerror}.", returncode=COULD_NOT
            ) from None
        if problems:
            self._refuse(problems, options)
        write_flags(out, NAMES_OF[what], flags)
        self.say(
            options,
            _facts(flags, out, ()),
            [f"{len(flags):,} alerts would have opened; they are in {out}."],
        )

    def _refuse(self, problems: Sequence[RowProblem], options: Mapping[str, Any]) -> None:
        """Name every bad row, then end."""
        if options["json"]:
            self.say(options, _facts((), None, problems), ())
        else:
            for line in _problem_lines(problems):
                self.stderr.write(line)
        raise CommandError(f"{len(problems):,} problems; nothing was written.", returncode=ASKED_WRONGLY)


def _replay(what: str, path: Path, tell: Callable[[str], None]) -> tuple[list[Flag], tuple[RowProblem, ...]]:
    """The flags, or else every problem of the rows."""
    if what == "pain":
        history, problems = read_pain_history(path)
        tell("read; playing the nights")
        return (replay_pain(history, _teller(tell)) if history else []), problems
    rows, problems = read_lift_history(path)
    tell("read; playing the nights")
    return ([] if problems else replay_lifts(rows, _teller(tell))), problems


def _teller(tell: Callable[[str], None]) -> Callable[[int, int], None]:
    return lambda night, nights: tell(f"{night:,} of {nights:,} nights played")


def _facts(flags: Sequence[Flag], out: Path | None, problems: Sequence[RowProblem]) -> dict[str, Any]:
    return {
        "alerts": len(flags),
        "out": None if out is None else str(out),
        "problems": [asdict(problem) for problem in problems],
    }


def _problem_lines(problems: Sequence[RowProblem]) -> Iterator[str]:
    for problem in problems[:PROBLEMS_SHOWN]:
        where = f"line {problem.line}" + (f", {problem.column}" if problem.column else "")
        yield f"{where}: {problem.detail}"
    if len(problems) > PROBLEMS_SHOWN:
        yield f"... and {len(problems) - PROBLEMS_SHOWN:,} problems more; --json tells all."


def write_flags(path: Path, names: Sequence[str], flags: Sequence[Flag]) -> None:
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow([*names, "opened_on", "kind"])
    writer.writerows([*flag.series, flag.opened_on, flag.kind] for flag in flags)
    with whole_file(path) as file:
        file.write(text.getvalue().encode())
