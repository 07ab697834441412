"""Take the erasures out, and do them again on a restored database."""

from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from coaching.management.by_hand import CommandByHand, add_json
from coaching.management.erasure_file import apply_erasures, read_erasures, write_erasures
from coaching.management.whole_file import check_folder
from coaching.models.scope import across_practices
from coaching.operations.erasures import erasure_lines


class Command(CommandByHand):
    help = (
        "--export writes all erasures to a file, one JSON object a line: digests of ids and tokens, no "
        "names. Keep it beside the backups and newer than any of them. --apply erases again whom a restored "
        "backup brought back, and keeps their tombstones. Running either again changes nothing."
    )
    ends = (
        "Ends with 0 if it is done; with 1 if a file cannot be read or written, or there is no database; "
        "with 2 if asked wrongly, or the file is none of these; with 130 if interrupted: whoever was erased "
        "stays erased, and the same command goes on with the rest."
    )
    interrupted = "Whoever was erased stays erased; run it again to go on with the rest."

    def add_arguments(self, parser: CommandParser) -> None:
        either = parser.add_mutually_exclusive_group(required=True)
        either.add_argument("--export", type=Path, metavar="FILE", help="write the erasures to this file")
        either.add_argument("--apply", type=Path, metavar="FILE", help="do the erasures of this file again")
        add_json(parser)

    @across_practices("the erasures of every practice")
    def handle(self, *args: Any, **options: Any) -> None:
        if options["export"]:
            check_folder(options["export"])
            n_lines = write_erasures(options["export"], erasure_lines())
            self.say(options, {"erasures": n_lines}, [f"{n_lines:,} erasures written."])
            return
        done = apply_erasures(read_erasures(options["apply"]), now=timezone.now())
        told = f"{done.erased_again:,} people erased again; "
        told += f"{done.tombstones:,} of {done.erasures:,} erasures belong here."
        self.say(options, asdict(done), [told])
