"""All there is about a person as one zip file: JSON without loss, CSV to read, and a manifest with digests.

`json/<kind>.json` is an array with one row a line; which kinds and columns there are stands in
`reads/person_rows.py`, and VERSION goes up whenever an old reader would misunderstand a new file. `csv/`
tells the same in tables: sessions with their sets, pain reports and plans as every other export writes them.
"""

import csv
import hashlib
import io
import json
import tempfile
import uuid
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import IO, Any

from django.db import connection, transaction

from coaching.exchange.cell_text import guarded
from coaching.exchange.csv_files import pain_reports_file, plans_file, sets_file
from coaching.models import Actor, Client
from coaching.operations.person_exports import client_to_export
from coaching.reads.person_rows import KIND_NAMED, KINDS, Kind, plain_rows

FORM = "forbear-person-archive"
VERSION = 1
IN_MEMORY_BYTES = 2 * 1024 * 1024
# Told in the files of every other export, where a person finds them as they know them.
TOLD_ELSEWHERE = frozenset(
    {"sessions", "logged_sets", "pain_reports", "plans", "plan_versions", "plan_days", "blocks"}
    | {"prescriptions", "prescription_alternatives"}
)
CSV_FILES: dict[str, tuple[str, Callable[[list[int]], Iterator[bytes]]]] = {
    "sessions": ("sessions", sets_file),
    "pain-reports": ("pain_reports", pain_reports_file),
    "plans": ("plan_versions", plans_file),
}


def export_person(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> IO[bytes]:
    """The archive as a file to read from, on disk beyond a few megabytes.

    A client's own leaves out what coaches noted for themselves; the owner's has it, for a move to another
    practice, and for whoever has to decide whether the client is to have it.
    Raises NotFoundError, GoneError, ConsentMissingError.
    """
    client = client_to_export(actor=actor, client_uid=client_uid, now=now)
    return write_archive(client, now, for_client=actor.client_id is not None)


def write_archive(client: Client, now: datetime, *, for_client: bool = False) -> IO[bytes]:
    file = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY_BYTES)  # noqa: SIM115 - the caller reads and closes it
    try:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive, _one_moment():
            written = _Written(archive, now)
            for kind in KINDS:
                told = partial(plain_rows, kind, client, for_client=for_client)
                written.add(f"json/{kind.name}.json", _json_pieces(told()))
                if kind.name not in TOLD_ELSEWHERE:
                    written.add(f"csv/{kind.name}.csv", _csv_pieces(kind, told()))
            for name, (kind_name, write) in CSV_FILES.items():
                keys = list(KIND_NAMED[kind_name].rows(client).values_list("pk", flat=True))
                written.add(f"csv/{name}.csv", write(keys))
            written.add("manifest.json", [_manifest(client, written, now)])
    except BaseException:
        file.close()
        raise
    file.seek(0)
    return file


@dataclass(slots=True)
class _Written:
    archive: zipfile.ZipFile
    now: datetime
    files: list[dict[str, Any]] = field(default_factory=list)

    def add(self, name: str, pieces: Iterable[bytes]) -> None:
        entry = zipfile.ZipInfo(name, self.now.timetuple()[:6])
        entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
        digest, n_bytes = hashlib.sha256(), 0
        with self.archive.open(entry, "w", force_zip64=True) as file:
            for piece in pieces:
                file.write(piece)
                digest.update(piece)
                n_bytes += len(piece)
        self.files.append({"name": name, "sha256": digest.hexdigest(), "bytes": n_bytes})


@contextmanager
def _one_moment() -> Iterator[None]:
    """Everything as it stood at one moment, so that no set comes without its session."""
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with _deferred(), transaction.atomic():
            yield


@contextmanager
def _deferred() -> Iterator[None]:
    """SQLite's one moment begins with the first read, and keeps nobody from writing."""
    client: Any = connection
    mode, client.transaction_mode = client.transaction_mode, "DEFERRED"
    try:
        yield
    finally:
        client.transaction_mode = mode


def _manifest(client: Client, written: _Written, now: datetime) -> bytes:
    plain = {
        "form": FORM,
        "version": VERSION,
        "made_at": now.isoformat(),
        "client": str(client.uid),
        "practice": str(client.practice.uid),
        "files": written.files,
    }
    return json.dumps(plain, indent=1).encode() + b"\n"


def _json_pieces(rows: Iterable[dict[str, Any]]) -> Iterator[bytes]:
    before = b"[\n"
    for row in rows:
        yield before + json.dumps(row, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
        before = b",\n"
    yield b"[]\n" if before == b"[\n" else b"\n]\n"


def _csv_pieces(kind: Kind, rows: Iterable[dict[str, Any]]) -> Iterator[bytes]:
    page = io.StringIO(newline="")
    writer = csv.writer(page, lineterminator="\r\n")
    writer.writerow(kind.columns)
    for row in rows:
        writer.writerow([_cell(value) for value in row.values()])
        if page.tell() > 65_536:
            yield page.getvalue().encode()
            page.seek(0)
            page.truncate()
    yield page.getvalue().encode()


def _cell(value: Any) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case str():
            return guarded(value)
        case list() | dict():
            return json.dumps(value, ensure_ascii=False)
    return str(value)
