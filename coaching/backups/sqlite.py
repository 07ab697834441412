"""A copy of the embedded database by SQLite's own way of copying a file in use, and back."""

import hashlib
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from uuid import uuid4

from coaching.backups.archive import AT_ONCE, Backup
from coaching.backups.manifest import Counted
from coaching.backups.refusals import BackupFailedError

Tell = Callable[[str], None]

PAGES_AT_ONCE = 4096
WAITS_S = 20.0
TABLES = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
HOLD = """
    INSERT INTO coaching_installation (name, mark, seen_at, is_held) VALUES ('this', ?, ?, 1)
    ON CONFLICT (name) DO UPDATE SET is_held = 1
"""


@contextmanager
def snapshot(path: Path) -> Iterator[sqlite3.Connection]:
    """One view of all rows; others go on writing meanwhile."""
    with closing(sqlite3.connect(path, isolation_level=None, timeout=WAITS_S)) as source:
        source.execute("BEGIN")
        source.execute("SELECT count(*) FROM sqlite_master").fetchone()  # the view is taken here
        yield source


def version() -> str:
    return sqlite3.sqlite_version


def tables(source: sqlite3.Connection) -> list[str]:
    return sorted(name for (name,) in source.execute(TABLES))


def count_tables(source: sqlite3.Connection, tell: Tell) -> dict[str, Counted]:
    counted = {}
    for name in tables(source):
        tell(f"counting {name}")
        counted[name] = _count(source, name)
    return counted


def copy(source: sqlite3.Connection, path: Path, tell: Tell) -> None:
    """The rows of the snapshot as one file, looked through."""
    with closing(sqlite3.connect(path)) as target:
        source.backup(target, pages=PAGES_AT_ONCE, progress=_telling(tell))
        target.execute("PRAGMA journal_mode = DELETE")
        _check_integrity(target)


def pieces_of(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while piece := file.read(AT_ONCE):
            yield piece


def unpack(backup: Backup, path: Path, *, now: datetime, tell: Tell) -> None:
    """The dump as a database file that was compared with the manifest, and sends nothing.

    Raises BackupFailedError if a row is not as it was.
    """
    with path.open("xb") as file:
        for piece in backup.dump():
            file.write(piece)
    with closing(sqlite3.connect(path)) as found:
        _check_integrity(found)
        counted = count_tables(found, tell)
        for name, each in backup.manifest.tables.items():
            if counted.get(name) != each:
                raise BackupFailedError(f"The rows of {name} are not those of the backup.")
        if "coaching_installation" in counted:
            found.execute(HOLD, [uuid4().hex, now.replace(tzinfo=None).isoformat(" ")])
            found.commit()


def put_in_place(path: Path, database: Path, tell: Tell) -> None:
    """All pages in one transaction of the database in use, so that it is whole or as it was."""
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(database)) as target:
        try:
            source.backup(target, pages=PAGES_AT_ONCE, progress=_telling(tell))
        except sqlite3.OperationalError as error:
            raise BackupFailedError(
                f"The database in use cannot be written ({error}): stop the service first."
            ) from None
        target.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _count(source: sqlite3.Connection, name: str) -> Counted:
    rows = total = 0
    for row in source.execute(f'SELECT * FROM "{name}"'):  # noqa: S608 - a name from the catalogue
        rows += 1
        total += int.from_bytes(hashlib.blake2b(repr(row).encode(), digest_size=8).digest())
    return Counted(rows, f"{total % 2**64:016x}")


def _check_integrity(database: sqlite3.Connection) -> None:
    found = [line for (line,) in database.execute("PRAGMA integrity_check")]
    if found != ["ok"]:
        raise BackupFailedError(f"SQLite finds the copy damaged: {found[0]}.")


def _telling(tell: Tell) -> Callable[[int, int, int], None]:
    """Tells how far it is, and gives up where another process keeps its lock."""
    left, since = -1, time.monotonic()

    def progress(_: int, remaining: int, total: int) -> None:
        nonlocal left, since
        if remaining != left:
            left, since = remaining, time.monotonic()
        elif time.monotonic() - since > WAITS_S:
            raise sqlite3.OperationalError("it stays locked")
        tell(f"{total - remaining:,} of {total:,} pages copied")

    return progress
