"""Erasing a person from the database and from the files beside it."""

import uuid
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import connection

from coaching.models import Actor, Client
from coaching.operations.erasure import Erased, erase, erase_client
from coaching.outbox import forget_files


def erase_person(*, actor: Actor, client_uid: uuid.UUID, confirm: str, now: datetime) -> Erased:
    """As `erase_client`, and the files. Raises NotFoundError, ForbiddenError, InvalidError, GoneError."""
    erased = erase_client(actor=actor, client_uid=client_uid, confirm=confirm, now=now)
    forget_what_lies_beside(erased)
    return erased


def erase_by_hand(*, client: Client, now: datetime, erased_at: datetime | None = None) -> Erased:
    """The same by an operator, after a restore or when a practice's period is over. Raises GoneError."""
    erased = erase(client=client, actor=None, now=now, erased_at=erased_at)
    forget_what_lies_beside(erased)
    return erased


def forget_what_lies_beside(erased: Erased) -> None:
    """Mail files and the demo's pictures, and what SQLite's log still holds; after the commit."""
    forget_files(recipients=erased.recipients, own_address=erased.own_address, since=erased.known_since)
    for picture in Path(settings.VAR_DIR, "pictures").glob("*.png"):
        if picture.name.startswith(f"{erased.name} ".lower().replace(" ", "-")):
            picture.unlink(missing_ok=True)
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
