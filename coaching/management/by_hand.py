"""What every command of ours has in common: how it tells, how it fails, and with which code it ends.

0: done. 1: could not (no such file or record, no database, no room). 2: asked wrongly, or it found problems
in what it was given. 130: interrupted.
"""

import json
import logging
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, ClassVar

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, InterfaceError, OperationalError, connection

from coaching.management.telling import progress
from coaching.reads.readiness import is_migrated

COULD_NOT, ASKED_WRONGLY, INTERRUPTED = 1, 2, 130
HELP_WIDTH = 78


class CommandByHand(BaseCommand):
    """Errors are one sentence on the error stream, results alone go to the output."""

    ends: ClassVar[str]  # what it ends with, for --help
    interrupted: ClassVar[str] = "Nothing was written."
    needs_database: ClassVar[bool] = True
    is_quiet: ClassVar[bool] = True  # no log lines: it tells itself what they would
    _called_from_command_line: bool  # Django's own

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        epilog = textwrap.fill(" ".join(self.ends.split()), HELP_WIDTH)
        return super().create_parser(prog_name, subcommand, epilog=epilog, **kwargs)

    def execute(self, *args: Any, **options: Any) -> str | None:
        is_typed = self._called_from_command_line
        if is_typed and self.is_quiet and options["verbosity"] < 2:
            logging.disable(logging.ERROR)
        try:
            if self.needs_database:
                check_database()
            return super().execute(*args, **options)
        except (CommandError, KeyboardInterrupt, DatabaseError, InterfaceError, OSError) as error:
            failure = self._as_failure(error)
            if failure is None or options["traceback"]:
                raise
        if not is_typed:
            raise failure from None
        self.stderr.write(str(failure))
        sys.exit(failure.returncode)

    def _as_failure(self, error: BaseException) -> CommandError | None:
        """The failure in one sentence; None for what is a fault of this code and keeps its traceback."""
        if isinstance(error, CommandError):
            return error
        if isinstance(error, KeyboardInterrupt):
            return CommandError(f"Interrupted. {self.interrupted}", returncode=INTERRUPTED)
        if isinstance(error, (OperationalError, InterfaceError)):
            reason = str(error).strip().partition("\n")[0].rstrip(".")
            return CommandError(f"The database cannot be used: {reason}.", returncode=COULD_NOT)
        if isinstance(error, OSError):
            subject = f"{error.filename}: " if error.filename else ""
            return CommandError(f"{subject}{error.strerror or error}.", returncode=COULD_NOT)
        return None

    def progress(self) -> Callable[[str], None]:
        return progress(self.stderr)

    def say(self, options: Mapping[str, Any], facts: Mapping[str, Any], lines: Iterable[str]) -> None:
        """The result, as one JSON object or in lines."""
        is_json = options["json"]
        self.stdout.write(
            json.dumps(facts, allow_nan=False, ensure_ascii=False) if is_json else "\n".join(lines)
        )


def add_json(parser: CommandParser) -> None:
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of lines")


def check_database() -> None:
    """A database that is there and has the tables of this code."""
    check_there()
    check_reachable()
    if not is_migrated():
        raise CommandError("The database is behind this code: run manage.py migrate.", returncode=COULD_NOT)


def check_there() -> None:
    """An embedded database is not made by looking."""
    if connection.vendor == "sqlite" and not connection.is_in_memory_db():  # type: ignore[attr-defined]
        file = Path(connection.settings_dict["NAME"])
        if not file.exists():
            raise CommandError(f"There is no database {file} yet: run manage.py migrate.", returncode=1)


def check_reachable() -> None:
    """A pool tries for seconds and cannot say why it got nothing, so a server is asked once beside it."""
    if connection.vendor == "postgresql":
        with connection.wrap_database_errors:
            connection.Database.connect(**connection.get_connection_params()).close()  # type: ignore[attr-defined]
