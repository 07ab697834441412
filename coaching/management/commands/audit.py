"""Search the audit trail: who read or changed whose records, when, and from which device."""

import csv
import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from coaching.errors import InvalidError, NotFoundError
from coaching.exchange.cell_text import guarded
from coaching.management.arguments import day, record_id
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT, CommandByHand
from coaching.models.scope import across_practices
from coaching.operations.audit_searches import note_search
from coaching.reads.audit_search import (
    EVENT_COLUMNS,
    REPORT_COLUMNS,
    TrailSearch,
    account_id_of,
    found_events,
    who_saw_what,
)

Row = dict[str, Any]


class Command(CommandByHand):
    help = (
        "Searches the audit trail of all practices, event by event, oldest first; with --who-saw-what one "
        "line for each person, device, client, action and kind of record. Days are those of UTC. Names stand "
        "where they still exist. Writes nothing but its own row on the trail."
    )
    ends = (
        "Ends with 0 if done, also if nothing was found; with 1 if there is no such client or account or no "
        "database; with 2 if asked wrongly; with 130 if interrupted."
    )
    interrupted = "The search itself is on the trail."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--client", type=record_id, help="only about this client")
        parser.add_argument("--account", type=account, help="only by this account: its id or e-mail address")
        parser.add_argument("--from", dest="from_on", type=day, help="the first day, 2026-03-02")
        parser.add_argument("--until", dest="until_on", type=day, help="the last day, 2026-03-02")
        parser.add_argument("--action", help="one action: read, create, update, delete, ...")
        parser.add_argument("--kind", help="one kind of record: session, pain_report, injury, ...")
        parser.add_argument("--who-saw-what", action="store_true", help="count instead of listing")
        form = parser.add_mutually_exclusive_group()
        form.add_argument("--json", action="store_true", help="print one JSON object instead of lines")
        form.add_argument("--csv", action="store_true", help="print CSV instead of lines")

    @across_practices("by hand, for one practice or for all")
    def handle(self, *args: Any, **options: Any) -> None:
        search = self._search(options)
        is_report = options["who_saw_what"]
        rows = who_saw_what(search) if is_report else found_events(search)
        columns = [column.replace("practice__uid", "practice") for column in _columns(is_report)]
        told = (dict(zip(columns, row.values(), strict=True)) for row in _in_order(rows, _columns(is_report)))
        if options["json"]:
            self._tell_json("rows" if is_report else "events", told)
        elif options["csv"]:
            self._tell_csv(columns, told)
        else:
            for row in told:
                self.stdout.write("  ".join(_word(row[column]) or "-" for column in columns))

    def _search(self, options: Mapping[str, Any]) -> TrailSearch:
        """What is looked for, once it is on the trail."""
        try:
            search = TrailSearch(
                client_uid=options["client"],
                account_id=account_id_of(options["account"]),
                from_on=options["from_on"],
                until_on=options["until_on"],
                action=options["action"],
                kind=options["kind"],
            )
            note_search(search=search, now=timezone.now())
        except NotFoundError as error:
            raise CommandError(error.detail, returncode=COULD_NOT) from None
        except InvalidError as error:
            fault = error.faults[0]
            raise CommandError(f"--{fault.path[0]}: {fault.detail}", returncode=ASKED_WRONGLY) from None
        return search

    def _tell_json(self, name: str, rows: Iterator[Row]) -> None:
        """One object, written row by row: a trail is longer than memory is large."""
        self.stdout.write(f'{{"{name}": [', ending="")
        for number, row in enumerate(rows):
            self.stdout.write(",\n" if number else "\n", ending="")
            self.stdout.write(json.dumps(row, default=_word, ensure_ascii=False), ending="")
        self.stdout.write("\n]}")

    def _tell_csv(self, columns: Sequence[str], rows: Iterator[Row]) -> None:
        writer = csv.writer(self.stdout, lineterminator="\r\n")
        writer.writerow(columns)
        for row in rows:
            writer.writerow([guarded(_word(row[column])) for column in columns])


def account(text: str) -> UUID | str:
    return text if "@" in text else record_id(text)


def _columns(is_report: bool) -> Sequence[str]:
    return REPORT_COLUMNS if is_report else EVENT_COLUMNS


def _in_order(rows: Iterator[Row], columns: Sequence[str]) -> Iterator[Row]:
    return ({column: row[column] for column in columns} for row in rows)


def _word(value: Any) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, dict):
        return json.dumps(value, ensure_ascii=False) if value else ""
    return "" if value is None else str(value)
