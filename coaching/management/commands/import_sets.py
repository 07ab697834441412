"""Bring a file of sets into a practice by hand."""

import json
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any
from uuid import UUID

from django.core.management.base import CommandError, CommandParser, DjangoHelpFormatter
from django.utils import timezone

from coaching.errors import InvalidError, NotFoundError
from coaching.exchange import sets_csv
from coaching.management.by_hand import CommandByHand
from coaching.models import Practice
from coaching.operations.imports import Imported, import_sets

SHOWN_PROBLEMS = 50
UNREADABLE, BAD_ROWS = 1, 2


class AsWritten(DjangoHelpFormatter, RawDescriptionHelpFormatter):
    """Django's order of the options, and the columns as the page above lays them out."""


class Command(CommandByHand):
    help = (
        f"{sets_csv.__doc__}\n"
        "Every row is checked first, and nothing is written while any row is bad. With --skip-bad a session\n"
        "with a bad row is left out whole, and the others are written; a bad row without a readable time\n"
        "takes all sessions of its client along. A file that is imported again writes nothing twice. What\n"
        "was imported before is never overwritten: correct it through the API."
    )
    ends = (
        "Ends with 0 if done; with 1 if the file cannot be read or there is no such practice or no database; "
        "with 2 if rows are bad or it was asked wrongly; with 130 if interrupted: what was imported until "
        "then stays, and the same command imports the rest."
    )
    interrupted = "What was imported until then stays; import it again for the rest."

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        return super().create_parser(prog_name, subcommand, formatter_class=AsWritten, **kwargs)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the file of sets")
        parser.add_argument("--practice", required=True, type=UUID, help="the practice's id")
        parser.add_argument("--dry-run", action="store_true", help="check and count, write nothing")
        parser.add_argument("--skip-bad", action="store_true", help="write the sessions without a bad row")
        parser.add_argument("--json", action="store_true", help="print one JSON object instead of lines")

    def handle(self, *args: Any, **options: Any) -> None:
        practice = Practice.objects.filter(uid=options["practice"]).first()
        if practice is None:
            raise CommandError("There is no such practice.", returncode=UNREADABLE)
        tell = self.progress()
        try:
            rows = sets_csv.read_sets(options["file"], lambda n_rows: tell(f"{n_rows:,} rows read"))
            imported = import_sets(
                practice=practice,
                rows=rows,
                now=timezone.now(),
                is_dry_run=options["dry_run"],
                skips_bad=options["skip_bad"],
                tell=lambda done, total: tell(f"{done:,} of {total:,} sessions stored"),
            )
        except OSError as error:
            raise CommandError(f"The file cannot be read: {error.strerror}.", returncode=UNREADABLE) from None
        except (InvalidError, NotFoundError) as error:
            raise CommandError(error.detail, returncode=UNREADABLE) from None
        self.stdout.write(json.dumps(asdict(imported)) if options["json"] else "\n".join(_lines(imported)))
        has_good = imported.sessions_new or imported.sessions_standing
        if imported.problems and not (options["skip_bad"] and has_good):
            raise CommandError(f"Bad rows: {imported.bad_rows:,}.", returncode=BAD_ROWS)


def _lines(imported: Imported) -> Iterator[str]:
    for problem in imported.problems[:SHOWN_PROBLEMS]:
        place = f"line {problem.line}" + (f", {problem.column}" if problem.column else "")
        yield f"{place}: {problem.detail} ({problem.code})"
    if len(imported.problems) > SHOWN_PROBLEMS:
        yield f"... and {len(imported.problems) - SHOWN_PROBLEMS:,} problems more; --json tells all."
    yield f"{imported.rows:,} rows read, {imported.bad_rows:,} of them bad."
    yield (
        f"{'Written' if imported.is_written else 'Nothing was written. Fit to be written'}: "
        f"{imported.sessions_new:,} sessions with {imported.sets_new:,} sets. "
        f"There already: {imported.sessions_standing:,}. Refused: {imported.sessions_refused:,}."
    )
    if imported.sets_to_confirm:
        yield f"{imported.sets_to_confirm:,} sets are far above the lift's best and wait to be confirmed."
