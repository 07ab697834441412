"""Write the whole database to one file."""

import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.core.management.base import CommandError, CommandParser
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone

from coaching.backups import postgresql, sqlite
from coaching.backups.archive import Backup, Written, close, look_through, write_dump
from coaching.backups.manifest import Counted, Manifest, key_check
from coaching.backups.refusals import BackupFailedError, BackupRefusedError
from coaching.management.by_hand import COULD_NOT, CommandByHand, add_json, check_reachable, check_there
from coaching.management.erasure_file import ERASURES, write_erasures
from coaching.management.whole_file import check_folder, whole_file
from coaching.models.scope import across_practices
from coaching.operations.database_roles import as_owner
from coaching.operations.erasures import erasure_lines
from coaching.reads.readiness import is_migrated


class Command(CommandByHand):
    help = (
        "Writes the whole database, as it stands at one moment, to one file that only you may read, while "
        "the service goes on; and the erasures beside it, to erasures.jsonl. The file holds the number of "
        "rows of each table and a checksum of them, taken in the same snapshot, and is read back. It does "
        "not hold SECRET_KEY: keep that (var/secret_key, unless it is in the environment) in another place, "
        "since with both somebody who finds the backup can use second factors and sign webhooks. On "
        "PostgreSQL it needs pg_dump and pg_restore, as new as the server, and runs as "
        "MIGRATION_DATABASE_URL if that is set. Put back by manage.py restore."
    )
    ends = (
        "Ends with 0 if the backup is written and read back; with 1 if it cannot be: no database, no room, "
        "no pg_dump or one older than the server; with 2 if asked wrongly; with 130 if interrupted: a file "
        "that was there before stays as it was."
    )
    interrupted = "No backup was written; a file that was there before is as it was."
    needs_database = False  # one that is behind this code is backed up before it is migrated

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--to", type=Path, required=True, metavar="FILE", help="the file to write")
        add_json(parser)

    @across_practices("a backup is of everything there is")
    def handle(self, *args: Any, **options: Any) -> None:
        path, tell, now = options["to"], self.progress(), timezone.now()
        check_folder(path)
        check_there()
        check_reachable()
        try:
            with as_owner(), whole_file(path, is_private=True) as file:
                manifest = _write(file, path, now, tell)
        except (BackupFailedError, BackupRefusedError) as error:
            raise CommandError(str(error), returncode=COULD_NOT) from None
        n_erasures = _write_erasures(path)
        self.say(options, _plain(path, manifest, n_erasures), _lines(path, manifest, n_erasures))


def _write(file: IO[bytes], path: Path, now: datetime, tell: Callable[[str], None]) -> Manifest:
    migrations = tuple(sorted(MigrationRecorder(connection).applied_migrations()))
    if not migrations:
        raise BackupFailedError("There is nothing to back up: the database has no tables of this service.")
    engine = connection.vendor
    written, counted, version = (_of_postgresql if engine == "postgresql" else _of_sqlite)(file, path, tell)
    manifest = Manifest(
        made_at=now,
        engine=engine,
        engine_version=version,
        migrations=migrations,
        tables=counted,
        dump_bytes=written.size,
        dump_sha256=written.sha256,
        key_check=key_check(settings.SECRET_KEY),
    )
    close(file, manifest)
    _read_back(look_through(file, path), tell)
    return manifest


def _of_postgresql(
    file: IO[bytes], path: Path, tell: Callable[[str], None]
) -> tuple[Written, dict[str, Counted], str]:
    postgresql.check_programs("pg_dump", "pg_restore")
    with postgresql.snapshot() as snapshot_id:
        written = write_dump(file, "postgresql", postgresql.dump(snapshot_id, tell))
        return written, postgresql.count_tables(tell), postgresql.version()


def _of_sqlite(
    file: IO[bytes], path: Path, tell: Callable[[str], None]
) -> tuple[Written, dict[str, Counted], str]:
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory(dir=path.absolute().parent))
        source = stack.enter_context(sqlite.snapshot(Path(connection.settings_dict["NAME"])))
        beside = Path(folder, "database.sqlite3")
        sqlite.copy(source, beside, tell)
        counted = sqlite.count_tables(source, tell)
        return write_dump(file, "sqlite", sqlite.pieces_of(beside)), counted, sqlite.version()


def _read_back(backup: Backup, tell: Callable[[str], None]) -> None:
    """A backup that nobody has read is a hope. The embedded copy was looked through before."""
    if backup.manifest.engine != "postgresql":
        return
    found = postgresql.rows_in(backup, tell)
    for name, counted in backup.manifest.tables.items():
        if found.get(name) != counted.rows:
            raise BackupFailedError(
                f"The dump has {found.get(name, 0):,} of the {counted.rows:,} rows of {name}: row-level "
                "security held some back, or a table was changed meanwhile. Run it again as the owner."
            )


def _write_erasures(path: Path) -> int | None:
    """Newer than the backup beside which they lie; a database behind this code is left to its own code."""
    if not is_migrated():
        return None
    return write_erasures(path.absolute().parent / ERASURES, erasure_lines())


def _plain(path: Path, manifest: Manifest, n_erasures: int | None) -> dict[str, Any]:
    return {
        "file": str(path),
        "made_at": manifest.made_at.isoformat(),
        "bytes": path.stat().st_size,
        "tables": len(manifest.tables),
        "rows": manifest.rows,
        "newest_migration": _newest(manifest),
        "erasures": n_erasures,
    }


def _lines(path: Path, manifest: Manifest, n_erasures: int | None) -> list[str]:
    size = path.stat().st_size / 1e6
    lines = [
        f"{manifest.rows:,} rows of {len(manifest.tables)} tables, as of "
        f"{manifest.made_at:%Y-%m-%d %H:%M} UTC, migrated to {_newest(manifest)}: {size:,.1f} MB in {path}.",
        "Keep SECRET_KEY apart from it: without the key second factors and webhooks of the backup cannot be "
        "used, and with it whoever finds both can use them.",
    ]
    if n_erasures is None:
        lines.append("The database is behind this code, so the erasures were not written beside it.")
    else:
        lines.append(f"{n_erasures:,} erasures written to {path.absolute().parent / ERASURES}.")
    return lines


def _newest(manifest: Manifest) -> str:
    return max((name for app, name in manifest.migrations if app == "coaching"), default="none")
