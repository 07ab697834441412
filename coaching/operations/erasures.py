"""The erasures of all practices as lines, to be done again after a backup was restored."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from coaching.models import Client, ErasedDigest, Erasure, Practice, id_digest
from coaching.operations.erasure import add_digests

CLIENTS_AT_ONCE = 1000


@dataclass(frozen=True, slots=True)
class ErasureLine:
    """One erasure as it stands in a file: digests, and no name."""

    practice: UUID
    client_digest: str
    erased_at: datetime
    digests: tuple[tuple[str, str], ...]


def erasure_lines() -> Iterator[ErasureLine]:
    """Every erasure there is, oldest first."""
    for erasure in Erasure.objects.select_related("practice").order_by("erased_at", "id").iterator():
        digests = erasure.digests.order_by("kind", "digest").values_list("kind", "digest")
        yield ErasureLine(erasure.practice.uid, erasure.client_digest, erasure.erased_at, tuple(digests))


def come_back(lines: Iterable[ErasureLine]) -> list[tuple[ErasureLine, Client]]:
    """The clients whom a restored backup brought back, each with the line that says they were erased."""
    erased = {(line.practice, line.client_digest): line for line in lines}
    clients = Client.objects.select_related("practice").filter(practice__uid__in={key[0] for key in erased})
    found = (
        (erased.get((client.practice.uid, id_digest(client.uid))), client)
        for client in clients.iterator(chunk_size=CLIENTS_AT_ONCE)
    )
    return [(line, client) for line, client in found if line is not None]


@transaction.atomic
def keep_tombstone(line: ErasureLine) -> bool:
    """Have the tombstone of a line again, with all its digests; False for a practice that is not here."""
    practice = Practice.objects.filter(uid=line.practice).first()
    if practice is None:
        return False
    erasure, _ = Erasure.objects.get_or_create(
        practice=practice, client_digest=line.client_digest, defaults={"erased_at": line.erased_at}
    )
    known = set(ErasedDigest.objects.filter(erasure=erasure).values_list("digest", flat=True))
    add_digests(erasure, [each for each in line.digests if each[1] not in known])
    return True
