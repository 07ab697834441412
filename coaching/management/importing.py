"""What every command has in common that brings a file into a practice by hand."""

from argparse import RawDescriptionHelpFormatter
from collections.abc import Callable, Iterator
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any, ClassVar, Protocol

from django.core.management.base import CommandError, CommandParser, DjangoHelpFormatter
from django.utils import timezone

from coaching.errors import InvalidError, NotFoundError
from coaching.exchange.table import text_of
from coaching.management.arguments import record_id
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT, CommandByHand, add_json
from coaching.models import Actor, Practice
from coaching.models.scope import across_practices, within_practice
from coaching.operations.import_rows import RowProblem
from coaching.operations.imports import Asked, Tell, owner_of
from coaching.operations.places import place_faults

SHOWN_PROBLEMS = 50


class Brought(Protocol):
    """What became of a file, whatever it holds."""

    @property
    def rows(self) -> int: ...
    @property
    def bad_rows(self) -> int: ...
    @property
    def is_written(self) -> bool: ...
    @property
    def has_good(self) -> bool: ...
    @property
    def problems(self) -> tuple[RowProblem, ...]: ...


class AsWritten(DjangoHelpFormatter, RawDescriptionHelpFormatter):
    """Django's order of the options, and the columns as the page of the format lays them out."""


class ImportCommand(CommandByHand):
    """A command is its format's page, how its rows are read and stored, and how the counts are told."""

    page: ClassVar[str]
    rules: ClassVar[str]
    has_links: ClassVar[bool] = True
    ends = (
        "Ends with 0 if done; with 1 if the file cannot be read or there is no such practice or no database; "
        "with 2 if rows are bad or it was asked wrongly; with 130 if interrupted: what was imported until "
        "then stays, and the same command imports the rest."
    )
    interrupted = "What was imported until then stays; import it again for the rest."

    def read(self, text: str, *, zone: str | None, tell: Callable[[int], None]) -> list[Any]:
        raise NotImplementedError

    def store(self, *, actor: Actor, rows: list[Any], now: datetime, asked: Asked, tell: Tell) -> Brought:
        raise NotImplementedError

    def counts(self, brought: Any) -> Iterator[str]:
        raise NotImplementedError

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        self.help = f"{self.page}\n{self.rules}"
        return super().create_parser(prog_name, subcommand, formatter_class=AsWritten, **kwargs)

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="the file")
        parser.add_argument("--practice", required=True, type=record_id, help="the practice's id")
        parser.add_argument("--dry-run", action="store_true", help="check and count, write nothing")
        parser.add_argument("--skip-bad", action="store_true", help="write what has no bad row")
        add_json(parser)
        parser.add_argument("--zone", help="where times without an offset were written, like Europe/Berlin")
        if self.has_links:
            parser.add_argument(
                "--leave-out-links", action="store_true", help="empty ids that are not of this practice"
            )

    def handle(self, *args: Any, **options: Any) -> None:
        with across_practices("the practice is named by its id"):
            practice = Practice.objects.filter(uid=options["practice"]).first()
        if practice is None:
            raise CommandError("There is no such practice.", returncode=COULD_NOT)
        for fault in place_faults(zone=options["zone"]):
            raise CommandError(f"--zone: {fault.detail}", returncode=ASKED_WRONGLY)
        with within_practice(practice.id):
            brought = self._bring(practice, options)
        self.say(options, asdict(brought), self._lines(brought))  # type: ignore[call-overload]
        if brought.problems and not (options["skip_bad"] and brought.has_good):
            raise CommandError(f"Bad rows: {brought.bad_rows:,}.", returncode=ASKED_WRONGLY)

    def _bring(self, practice: Practice, options: dict[str, Any]) -> Brought:
        tell = self.progress()
        asked = Asked(
            is_dry_run=options["dry_run"],
            skips_bad=options["skip_bad"],
            leaves_out_links=options.get("leave_out_links", False),
        )
        try:
            rows = self.read(
                text_of(options["file"]),
                zone=options["zone"],
                tell=lambda n_rows: tell(f"{n_rows:,} rows read"),
            )
            return self.store(
                actor=owner_of(practice),
                rows=rows,
                now=timezone.now(),
                asked=asked,
                tell=lambda done, total: tell(f"{done:,} of {total:,} stored"),
            )
        except OSError as error:
            raise CommandError(f"The file cannot be read: {error.strerror}.", returncode=COULD_NOT) from None
        except (InvalidError, NotFoundError) as error:
            raise CommandError(error.detail, returncode=COULD_NOT) from None

    def _lines(self, brought: Brought) -> Iterator[str]:
        for problem in brought.problems[:SHOWN_PROBLEMS]:
            place = f"line {problem.line}" + (f", {problem.column}" if problem.column else "")
            yield f"{place}: {problem.detail} ({problem.code})"
        if len(brought.problems) > SHOWN_PROBLEMS:
            yield f"... and {len(brought.problems) - SHOWN_PROBLEMS:,} problems more; --json tells all."
        yield f"{brought.rows:,} rows read, {brought.bad_rows:,} of them bad."
        written = "Written" if brought.is_written else "Nothing was written. Fit to be written"
        first, *others = self.counts(brought)
        yield f"{written}: {first}"
        yield from others
