"""Whether this process can serve: the database answers, and its tables are the ones this code expects."""

from functools import cache

from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder


@cache
def _newest_migrations() -> frozenset[tuple[str, str]]:
    return frozenset(MigrationLoader(None).graph.leaf_nodes())


def is_migrated() -> bool:
    """The newest migration of each app is applied; a database that is not there raises DatabaseError."""
    return _newest_migrations() <= MigrationRecorder(connection).applied_migrations().keys()


def is_ready() -> bool:
    try:
        return is_migrated()
    except DatabaseError:
        return False
