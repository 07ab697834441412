"""How a migration shares the tables with the service: it asks for a lock briefly, and again later."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management.base import CommandError
from django.db import OperationalError, connection
from django.db.backends.signals import connection_created
from psycopg.errors import LockNotAvailable

# Whoever asks for the table after a migration that waits for it, waits as well: so it never waits long.
LOCK_TIMEOUT_MS = 300
TRIES = 40
PAUSE_S = 3.0
BRIEFLY = f"SET lock_timeout = {LOCK_TIMEOUT_MS}; SET statement_timeout = 0; "
BRIEFLY += "SET idle_in_transaction_session_timeout = 0"
AS_BEFORE = "RESET lock_timeout; RESET statement_timeout; RESET idle_in_transaction_session_timeout"
GAVE_UP = (
    "A lock that the migration needs was held by others at each of {tries} tries. The migration that was "
    "tried has changed nothing. End the transaction that holds it (pg_stat_activity, mostly one that is "
    "'idle in transaction'), and run migrate again."
)


@contextmanager
def short_waits() -> Iterator[None]:
    """Within the block every connection asks for locks briefly, and takes its time for the work itself."""
    if connection.vendor != "postgresql":
        yield
        return
    connection_created.connect(_wait_briefly, dispatch_uid="short waits")
    if connection.connection is not None:
        _wait_briefly(connection)
    try:
        yield
    finally:
        connection_created.disconnect(dispatch_uid="short waits")
        if connection.connection is not None and not connection.in_atomic_block:
            with connection.cursor() as cursor:
                cursor.execute(AS_BEFORE)


def until_there_is_a_lock(work: Callable[[], None], tell: Callable[[str], None]) -> None:
    """Do the work, and again after a pause while others hold a lock that it needs. Raises CommandError."""
    for done in range(1, TRIES + 1):
        try:
            work()
            return
        except OperationalError as error:
            if not isinstance(error.__cause__, LockNotAvailable):
                raise
        if done < TRIES:
            tell(f"Others hold a lock that the migration needs; it lets them go on and tries again ({done}).")
            time.sleep(PAUSE_S)
    raise CommandError(GAVE_UP.format(tries=TRIES), returncode=1)


def _wait_briefly(connection: Any, **_: Any) -> None:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(BRIEFLY)
