"""The file of erasures that lies beside the backups: one JSON object a line, digests and no names."""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from uuid import UUID

from django.core.management.base import CommandError

from coaching.errors import GoneError
from coaching.exchange.erasing import erase_by_hand
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT
from coaching.management.whole_file import whole_file
from coaching.models import DigestKind
from coaching.operations.erasures import ErasureLine, come_back, keep_tombstone

ERASURES = "erasures.jsonl"  # its name beside a backup


@dataclass(frozen=True, slots=True)
class Applied:
    """What doing the erasures of a file again came to."""

    erasures: int
    erased_again: int
    tombstones: int


def apply_erasures(lines: Sequence[ErasureLine], *, now: datetime) -> Applied:
    """Erase again whom a restored backup brought back, and keep the tombstones; safe to repeat."""
    returned = come_back(lines)
    for line, client in returned:
        try:
            erase_by_hand(client=client, now=now, erased_at=line.erased_at)
        except GoneError:
            continue  # somebody else was quicker
    kept = sum(keep_tombstone(line) for line in lines)
    return Applied(len(lines), len(returned), kept)


def write_erasures(path: Path, lines: Iterable[ErasureLine]) -> int:
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


def read_erasures(path: Path) -> list[ErasureLine]:
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
