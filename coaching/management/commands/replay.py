"""Play a history night by night and write what would have been flagged."""

import csv
import os
import tempfile
from argparse import ArgumentParser
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from coaching.errors import InvalidError
from coaching.exchange.history_csv import LIFT_COLUMNS, PAIN_COLUMNS, read_lift_history, read_pain_history
from coaching.exchange.replay import Flag, replay_lifts, replay_pain
from coaching.operations.import_rows import RowProblem

NAMES_OF = {"pain": ("client", "joint", "side"), "lifts": ("client", "exercise", "side")}
PROBLEMS_SHOWN = 200


class Command(BaseCommand):
    help = (
        "Replays a history as the nights would have seen it, without looking ahead, and writes the night on "
        "which each alert would have opened. Try your own past before you switch alerts on. "
        f"pain: a row per client, site and day, {','.join(PAIN_COLUMNS)} (pain empty if none was reported). "
        f"lifts: a row per work set, {','.join(LIFT_COLUMNS)}. Rows of a series stand in the order of their "
        "days. Ends with 2 and writes nothing if any row is bad, with 1 if the file cannot be read."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=list(NAMES_OF))
        parser.add_argument("file", type=Path)
        parser.add_argument("--out", type=Path, required=True, help="where the flags are written, as CSV")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            flags = self._replay(options["what"], options["file"])
        except InvalidError as error:
            raise CommandError(error.detail, returncode=2) from None
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be read: {error.strerror}.", returncode=1) from None
        write_flags(options["out"], NAMES_OF[options["what"]], flags)
        self.stdout.write(f"{len(flags)} alerts would have opened; they are in {options['out']}.")

    def _replay(self, what: str, path: Path) -> list[Flag]:
        if what == "pain":
            history, problems = read_pain_history(path)
            self._refuse(problems)
            return replay_pain(history) if history else []
        rows, problems = read_lift_history(path)
        self._refuse(problems)
        return replay_lifts(rows)

    def _refuse(self, problems: Sequence[RowProblem]) -> None:
        """Name every bad row on the error stream, then end."""
        for problem in problems[:PROBLEMS_SHOWN]:
            where = f"line {problem.line}" + (f", {problem.column}" if problem.column else "")
            self.stderr.write(f"{where}: {problem.detail}")
        if problems:
            raise CommandError(f"{len(problems)} problems; nothing was written.", returncode=2)


def write_flags(path: Path, names: Sequence[str], flags: Sequence[Flag]) -> None:
    """Write the flags beside `path` first and then in its place, so that no half file is ever there."""
    descriptor, beside = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=".part")
    with os.fdopen(descriptor, "w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([*names, "opened_on", "kind"])
        writer.writerows([*flag.series, flag.opened_on, flag.kind] for flag in flags)
    Path(beside).replace(path)
