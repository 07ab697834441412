"""The file of a backup: a tar of dump and manifest, and behind its end the SHA-256 of all bytes before.

`tar xf` unpacks it where this service is not at hand; a single bit that was changed, cut off or added is
found by the digest before anything is done.
"""

import hashlib
import os
import tarfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from coaching.backups.manifest import Manifest, read_manifest
from coaching.backups.refusals import BackupRefusedError

MANIFEST = "manifest.json"
DUMPS = {"postgresql": "database.dump", "sqlite": "database.sqlite3"}
AT_ONCE = 1 << 20
END = len(hashlib.sha256().hexdigest()) + 1
NOT_WHOLE = "{path} is no whole backup: it was cut short or changed, or is none of this service."


@dataclass(frozen=True, slots=True)
class Written:
    """How much was written, and its digest."""

    size: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that was found whole, open for reading."""

    manifest: Manifest
    file: IO[bytes]
    dump_at: int

    def dump(self) -> Iterator[bytes]:
        """The dump in pieces, from its beginning."""
        self.file.seek(self.dump_at)
        return _pieces(self.file, self.manifest.dump_bytes)


def write_dump(file: IO[bytes], engine: str, pieces: Iterable[bytes]) -> Written:
    """The first member. Its length is known once it is written, so its header is written after it."""
    header_at, size, digest = file.tell(), 0, hashlib.sha256()
    file.write(bytes(tarfile.BLOCKSIZE))
    for piece in pieces:
        file.write(piece)
        digest.update(piece)
        size += len(piece)
    _pad(file, size)
    behind = file.tell()
    file.seek(header_at)
    file.write(_header(DUMPS[engine], size))
    file.seek(behind)
    return Written(size, digest.hexdigest())


def close(file: IO[bytes], manifest: Manifest) -> None:
    """The manifest, the end of the tar, and the digest of it all."""
    text = manifest.as_json()
    file.write(_header(MANIFEST, len(text)) + text)
    _pad(file, len(text))
    file.write(bytes(2 * tarfile.BLOCKSIZE))
    size = file.tell()
    file.seek(0)
    digest = _digest(_pieces(file, size))
    file.seek(size)
    file.write(f"{digest}\n".encode())


@contextmanager
def whole_backup(path: Path) -> Iterator[Backup]:
    """Open a backup for reading. Raises BackupRefusedError unless every bit is as it was written."""
    with path.open("rb") as file:
        yield look_through(file, path)


def look_through(file: IO[bytes], path: Path) -> Backup:
    """The same for a file that is open already."""
    size = file.seek(0, os.SEEK_END)
    file.seek(0)
    told = _digest(_pieces(file, size - END)) if size > END else ""
    if file.read() != f"{told}\n".encode():
        raise BackupRefusedError(NOT_WHOLE.format(path=path))
    file.seek(0)
    try:
        with tarfile.open(fileobj=file, mode="r:") as members:
            text = members.extractfile(MANIFEST)
            manifest = read_manifest(text.read() if text else b"")
            if manifest.engine not in DUMPS:
                raise BackupRefusedError(f"It is a backup of {manifest.engine}, which is not known here.")
            return Backup(manifest, file, members.getmember(DUMPS[manifest.engine]).offset_data)
    except (tarfile.TarError, KeyError):
        raise BackupRefusedError(NOT_WHOLE.format(path=path)) from None


def _header(name: str, size: int) -> bytes:
    member = tarfile.TarInfo(name)
    member.size, member.mode = size, 0o600
    return member.tobuf(tarfile.GNU_FORMAT)


def _pad(file: IO[bytes], size: int) -> None:
    file.write(bytes(-size % tarfile.BLOCKSIZE))


def _digest(pieces: Iterable[bytes]) -> str:
    digest = hashlib.sha256()
    for piece in pieces:
        digest.update(piece)
    return digest.hexdigest()


def _pieces(file: IO[bytes], size: int) -> Iterator[bytes]:
    while size > 0 and (piece := file.read(min(AT_ONCE, size))):
        size -= len(piece)
        yield piece
