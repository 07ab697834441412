"""Put a backup back into an empty database."""

import tempfile
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError, CommandParser
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.utils import timezone

from coaching.backups import postgresql, sqlite
from coaching.backups.archive import Backup, whole_backup
from coaching.backups.manifest import Manifest, has_its_key
from coaching.backups.refusals import BackupFailedError, BackupRefusedError
from coaching.errors import InvalidError
from coaching.installation import hold
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT, CommandByHand, add_json, check_reachable
from coaching.management.erasure_file import ERASURES, Applied, apply_erasures, read_erasures
from coaching.models.scope import across_practices
from coaching.operations.database_roles import as_owner, grant_service_role
from coaching.operations.erasures import ErasureLine, erasure_lines
from coaching.reads.readiness import is_migrated


class Command(CommandByHand):
    help = (
        "Writes a backup of manage.py backup into an empty database and compares every count and checksum "
        "with it; all of it is there then, or nothing. Stop the service first. The file is looked through "
        "before anything is done. Then it migrates, if the backup is older than this code, grants the "
        "service's role its rows again, and erases again whom the backup brought back, by erasures.jsonl, "
        "which lies beside the backup and must be newer. No mail and no webhook leaves until manage.py "
        "confirm_restore is run. On PostgreSQL it needs pg_restore and psql, as new as the server."
    )
    ends = (
        "Ends with 0 if it is restored; with 1 if it cannot be: the database is not empty or not to be "
        "reached, a file cannot be read, a row is not as it was; with 2 if asked wrongly, or the file is not "
        "whole, of another database, newer than this code, or made under another SECRET_KEY; with 130 if "
        "interrupted: run it again."
    )
    interrupted = "What was restored is held back; run it again, with --replace if the database is not empty."
    needs_database = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--from", dest="source", type=Path, required=True, metavar="FILE", help="the backup to read"
        )
        either = parser.add_mutually_exclusive_group()
        either.add_argument(
            "--erasures",
            type=Path,
            metavar="FILE",
            help="the erasures, if not erasures.jsonl beside the backup",
        )
        either.add_argument(
            "--without-erasures", action="store_true", help="there are none: nobody was erased since"
        )
        parser.add_argument(
            "--replace",
            action="store_true",
            help="the database is not empty: delete all that is in it (its erasures are applied as well)",
        )
        parser.add_argument(
            "--another-secret-key",
            action="store_true",
            help="the SECRET_KEY of the backup is lost: second factors and webhooks must be set up anew",
        )
        add_json(parser)

    @across_practices("a backup is of everything there is")
    def handle(self, *args: Any, **options: Any) -> None:
        path, tell, now = options["source"], self.progress(), timezone.now()
        try:
            tell(f"looking through {path}")
            with whole_backup(path) as backup:
                _check_it_fits(backup.manifest, options)
                lines = _erasures_of(options)
                check_reachable()
                lines = _newest([*lines, *_check_room(is_replacing=options["replace"])])
                with as_owner():
                    _put_back(backup, is_replacing=options["replace"], now=now, tell=tell)
                manifest = backup.manifest
        except BackupRefusedError as error:
            raise CommandError(str(error), returncode=ASKED_WRONGLY) from None
        except BackupFailedError as error:
            raise CommandError(str(error), returncode=COULD_NOT) from None
        is_older = _bring_up_to_date(now, verbosity=options["verbosity"])
        done = apply_erasures(lines, now=now)
        self.say(options, _plain(manifest, is_older, done), _lines(manifest, is_older, done))


def _check_it_fits(manifest: Manifest, options: dict[str, Any]) -> None:
    """All that can be known before the database is asked."""
    if manifest.engine != connection.vendor:
        raise BackupRefusedError(
            f"It is a backup of {manifest.engine}, and the database is {connection.vendor}."
        )
    known = MigrationLoader(None).disk_migrations
    newer = [f"{app}.{name}" for app, name in manifest.migrations if (app, name) not in known]
    if newer:
        raise BackupRefusedError(f"It is newer than this code, which does not know {newer[-1]}.")
    if not has_its_key(manifest) and not options["another_secret_key"]:
        raise BackupRefusedError(
            "It was made under another SECRET_KEY: set that one, or have it in SECRET_KEY_FALLBACKS. If it "
            "is lost, --another-secret-key restores all the same, and second factors and webhooks must be "
            "set up anew."
        )


def _erasures_of(options: dict[str, Any]) -> list[ErasureLine]:
    """Read before anything is done, so that whoever was erased does not come back for want of a file."""
    if options["without_erasures"]:
        return []
    path = options["erasures"] or options["source"].absolute().parent / ERASURES
    if not path.exists():
        raise CommandError(
            f"There is no {path}: name the erasures with --erasures, or say --without-erasures if nobody was "
            "erased since the backup.",
            returncode=COULD_NOT,
        )
    return read_erasures(path)


def _check_room(*, is_replacing: bool) -> list[ErasureLine]:
    """Refuse a database with tables; the erasures of one that is replaced are newer than any file."""
    if connection.vendor == "sqlite" and not Path(connection.settings_dict["NAME"]).exists():
        return []
    with as_owner():
        if not connection.introspection.table_names():
            return []
        if not is_replacing:
            raise CommandError(
                "The database is not empty: restore into a new one, or say --replace to delete all that is "
                "in it.",
                returncode=COULD_NOT,
            )
        return list(erasure_lines()) if is_migrated() else []


def _newest(lines: Sequence[ErasureLine]) -> list[ErasureLine]:
    """Each erasure once, by the last line about it."""
    return list({(line.practice, line.client_digest): line for line in lines}.values())


def _put_back(backup: Backup, *, is_replacing: bool, now: datetime, tell: Callable[[str], None]) -> None:
    if connection.vendor == "postgresql":
        postgresql.check_programs("pg_restore", "psql")
        postgresql.restore(backup, is_replacing=is_replacing, tell=tell)
        return
    database = Path(connection.settings_dict["NAME"])
    connection.close()
    with tempfile.TemporaryDirectory(dir=database.parent) as folder:
        unpacked = Path(folder, "database.sqlite3")
        sqlite.unpack(backup, unpacked, now=now, tell=tell)
        sqlite.put_in_place(unpacked, database, tell)


def _bring_up_to_date(now: datetime, *, verbosity: int) -> bool:
    """Migrate what is older, and let the service's role in. True if it was older."""
    with as_owner():
        is_older = not is_migrated()
    if is_older:
        call_command("migrate", interactive=False, verbosity=max(0, verbosity - 1))
    if settings.DATABASE_OWNER is not None and connection.vendor == "postgresql":
        try:
            grant_service_role()
        except InvalidError as error:
            raise CommandError(f"It is restored. {error.detail}", returncode=COULD_NOT) from None
    hold(now=now)
    return is_older


def _plain(manifest: Manifest, is_older: bool, done: Applied) -> dict[str, Any]:
    return {
        "made_at": manifest.made_at.isoformat(),
        "tables": len(manifest.tables),
        "rows": manifest.rows,
        "was_migrated": is_older,
        "erased_again": done.erased_again,
        "tombstones": done.tombstones,
        "is_held": True,
    }


def _lines(manifest: Manifest, is_older: bool, done: Applied) -> Sequence[str]:
    lines = [
        f"{manifest.rows:,} rows of {len(manifest.tables)} tables restored as of "
        f"{manifest.made_at:%Y-%m-%d %H:%M} UTC; every count and checksum is that of the backup.",
        f"{done.erased_again:,} people erased again; "
        f"{done.tombstones:,} of {done.erasures:,} erasures belong here.",
        "Next: manage.py verify, then manage.py confirm_restore; until then no mail and no webhook leaves.",
    ]
    if is_older:
        lines.insert(1, "The backup was older than this code and has been migrated.")
    return lines
