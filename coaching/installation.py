"""Whether this database is the one that this installation left: a restored one is not, and sends nothing.

PostgreSQL: the row keeps the OID of its own table, and whoever restores a dump makes a new table. SQLite: a
mark and a time lie in the database and in a file beside it, and both go on together, at most a minute apart;
a backup that is put back has an older time or another mark, or comes without the file. What neither can see
(a whole folder or cluster copied back) an operator holds by hand. Then no mail and no webhook leaves before
the restore is confirmed.
"""

import json
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import structlog
from django.conf import settings
from django.db import connection, transaction

from coaching.models import Installation

GOES_ON_AFTER = timedelta(minutes=1)
FILE_NAME = "installation.json"

log = structlog.get_logger("installation")


@dataclass(frozen=True, slots=True)
class _Left:
    """What the file says: which installation, and how far it had come."""

    mark: uuid.UUID
    seen_at: datetime


def may_send(*, now: datetime) -> bool:
    """True unless the database was restored and nobody has confirmed it."""
    standing = Installation.objects.first()
    if standing is None:
        _begin(now)
        return True
    if not _is_as_left(standing):
        log.warning("restored_database_sends_nothing")  # until manage.py confirm_restore
        return False
    if not _knows_by_table() and now - standing.seen_at >= GOES_ON_AFTER:
        Installation.objects.filter(name=standing.name, seen_at__lt=now).update(seen_at=now)
        _write(standing.mark, now)
    return True


def is_restored() -> bool:
    """As `may_send` would find it; reads only."""
    standing = Installation.objects.first()
    return standing is not None and not _is_as_left(standing)


def confirm(*, now: datetime) -> None:
    """Go on from this database, under a mark of its own; safe to repeat."""
    Installation.objects.all().delete()
    _begin(now)


def hold(*, now: datetime) -> None:
    """Send nothing until somebody confirms, as after a restore that nothing here can see; safe to repeat."""
    Installation.objects.update_or_create(
        name="this", defaults={"is_held": True}, create_defaults={"is_held": True, "seen_at": now}
    )


@transaction.atomic
def _begin(now: datetime) -> None:
    """The first to look, of several at once, writes the row; the file is there before the row is committed.

    A row without its file would be taken for a restored database, and hold all mail.
    """
    made, is_new = Installation.objects.get_or_create(
        name="this", defaults={"seen_at": now, "table_oid": _table_oid()}
    )
    if is_new and not _knows_by_table():
        _write(made.mark, made.seen_at)


def _is_as_left(standing: Installation) -> bool:
    if standing.is_held:
        return False
    if _knows_by_table():
        return standing.table_oid == _table_oid()
    left = _read()
    return left is not None and left.mark == standing.mark and left.seen_at <= standing.seen_at


def _knows_by_table() -> bool:
    return connection.vendor == "postgresql"


def _table_oid() -> int | None:
    if not _knows_by_table():
        return None
    with connection.cursor() as cursor:
        cursor.execute("SELECT to_regclass(%s)::oid::bigint", [Installation._meta.db_table])
        return int(cursor.fetchone()[0])


def _file() -> Path:
    return Path(settings.VAR_DIR) / FILE_NAME


def _read() -> _Left | None:
    try:
        plain = json.loads(_file().read_text())
        return _Left(uuid.UUID(plain["mark"]), datetime.fromisoformat(plain["seen_at"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _write(mark: uuid.UUID, seen_at: datetime) -> None:
    """Whole or not at all, so that a power cut does not look like a restore."""
    beside = _file().with_suffix(f".{uuid.uuid4().hex}.part")
    beside.write_text(json.dumps({"mark": str(mark), "seen_at": seen_at.isoformat()}))
    beside.replace(_file())
