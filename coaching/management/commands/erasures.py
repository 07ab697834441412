"""Take the erasures out, and do them again on a restored database."""

import json
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from coaching.errors import GoneError
from coaching.exchange.erasing import erase_by_hand
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT, CommandByHand, add_json
from coaching.management.whole_file import check_folder, whole_file
from coaching.models import DigestKind
from coaching.models.scope import across_practices
from coaching.operations.erasures import ErasureLine, come_back, erasure_lines, keep_tombstone


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
            n_lines = _write(options["export"], erasure_lines())
            self.say(options, {"erasures": n_lines}, [f"{n_lines:,} erasures written."])
            return
        lines = _read(options["apply"])
        returned = come_back(lines)
        for line, client in returned:
            try:
                erase_by_hand(client=client, now=timezone.now(), erased_at=line.erased_at)
            except GoneError:
                continue  # somebody else was quicker
        kept = sum(keep_tombstone(line) for line in lines)
        facts = {"erasures": len(lines), "erased_again": len(returned), "tombstones": kept}
        told = f"{len(returned):,} people erased again; {kept:,} of {len(lines):,} erasures belong here."
        self.say(options, facts, [told])


def _write(path: Path, lines: Iterable[ErasureLine]) -> int:
    n_lines = 0
    with whole_file(path) as file:
        for line in lines:
            plain = {
                "practice": str(line.practice),
                "client_digest": line.client_digest,
                "erased_at": line.erased_at.isoformat(),
                "digests": line.digests,
            }
            file.write(json.dumps(plain, separators=(",", ":")).encode() + b"\n")
            n_lines += 1
    return n_lines


def _read(path: Path) -> list[ErasureLine]:
    """All lines, before anything is done. Raises CommandError for a file that is none of ours."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}.", returncode=COULD_NOT) from None
    except UnicodeDecodeError:
        raise CommandError(f"{path} holds no erasures.", returncode=ASKED_WRONGLY) from None
    return list(_lines(path, text))


def _lines(path: Path, text: str) -> Iterator[ErasureLine]:
    for number, line in enumerate(text.splitlines(), start=1):
        try:
            plain = json.loads(line)
            erased_at = datetime.fromisoformat(plain["erased_at"])
            digests = tuple((DigestKind(kind).value, str(digest)) for kind, digest in plain["digests"])
            if erased_at.tzinfo is None:
                raise ValueError
            yield ErasureLine(UUID(plain["practice"]), str(plain["client_digest"]), erased_at, digests)
        except (KeyError, TypeError, ValueError, AttributeError):
            raise CommandError(
                f"{path}, line {number}: this is no erasure.", returncode=ASKED_WRONGLY
            ) from None
