"""Make roll-ups and scores anew from the raw rows, and say what differs."""

from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from coaching.management.by_hand import COULD_NOT, CommandByHand, add_json
from coaching.management.of_practice import add_practice, practices_meant
from coaching.models.scope import across_practices, within_practice
from coaching.operations.recompute import Compared, Difference, compare_practice, mend

TOLD = 20


class Command(CommandByHand):
    help = (
        "Makes joint days, lift days and the scores of the last fourteen nights anew from the sessions, pain "
        "reports and plans, and says where the stored ones differ. Writes nothing, unless --write is given: "
        "then roll-ups are stored as they were made, and the next tick scores again the nights that rest on "
        "them. Clients who wait to be scored again, and scores of an older method, are left out."
    )
    ends = (
        "Ends with 0 if nothing differs, or if all that differed is written; with 1 if something differs, or "
        "there is no such practice or no database; with 2 if asked wrongly; with 130 if interrupted: what "
        "was written stays, and the same command goes on."
    )
    interrupted = "What was written stays; run it again to go on."

    def add_arguments(self, parser: CommandParser) -> None:
        add_practice(parser)
        parser.add_argument("--write", action="store_true", help="store what differs as it was made anew")
        add_json(parser)

    @across_practices("by hand, for one practice or for all")
    def handle(self, *args: Any, **options: Any) -> None:
        tell = self.progress()
        compared = Compared()
        for practice in practices_meant(options["practice"]):
            with within_practice(practice.id):
                found = compare_practice(practice, now=timezone.now(), tell=tell)
                if options["write"]:
                    _mend_all(found.differences)
            compared = compared.plus(found)
        is_mended = bool(options["write"] and compared.differences)
        self.say(options, _plain(compared, is_mended), _lines(compared, is_mended))
        if compared.differences and not is_mended:
            raise CommandError(f"Rows that differ: {len(compared.differences)}.", returncode=COULD_NOT)


def _mend_all(differences: Iterable[Difference]) -> None:
    by_client = sorted(differences, key=lambda each: each.client.id)
    for _, of_client in groupby(by_client, key=lambda each: each.client.id):
        rows = list(of_client)
        mend(rows[0].client, rows)


def _plain(compared: Compared, is_mended: bool) -> dict[str, Any]:
    return {
        "rows": compared.rows,
        "written": is_mended,
        "differences": [
            {
                "record": each.record,
                "client": str(each.client.uid),
                "on": each.on.isoformat(),
                "key": each.key,
                "what": each.what,
            }
            for each in compared.differences
        ],
    }


def _lines(compared: Compared, is_mended: bool) -> Iterator[str]:
    yield f"{compared.rows:,} roll-ups and scores made anew; {len(compared.differences):,} differ."
    for each in compared.differences[:TOLD]:
        yield f"  {each.record} of client {each.client.uid} on {each.on}, {each.key}: {each.what}"
    if len(compared.differences) > TOLD:
        yield f"  and {len(compared.differences) - TOLD:,} more; --json has them all"
    if is_mended:
        yield "Written; the next tick scores again the nights that rest on them."
