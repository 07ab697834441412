"""How far the feed of changes is settled: up to where no change is still to be committed."""

from django.db import connection

from coaching.models.change import FIRST_LOCK_KEY, LAST_LOCK_KEY


def newest_and_settled() -> tuple[int, int]:
    """The newest id given so far, and the one up to which no row is still to be committed.

    The order of the statements matters: whoever took an id up to `newest` held their lock before that, so
    they show up in the second statement, or have ended and show up in any later one.
    """
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            # Writers come one after the other, so that ids are committed in their order.
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = 'coaching_change'")
            given = cursor.fetchone()
            return (given[0], given[0]) if given else (0, 0)
        cursor.execute(NEWEST)
        newest = cursor.fetchone()[0]
        cursor.execute(HELD_BACK, [FIRST_LOCK_KEY, FIRST_LOCK_KEY, LAST_LOCK_KEY])
        held_back = cursor.fetchone()[0]
    return newest, newest if held_back is None else min(newest, held_back)


def settled_place() -> int:
    """The id up to which every change is there to be seen by whatever is read from now on."""
    return newest_and_settled()[1]


NEWEST = "SELECT last_value - CASE WHEN is_called THEN 0 ELSE 1 END FROM coaching_change_id_seq"
# What this connection itself has written it may read.
HELD_BACK = """
    SELECT min(key) - %s FROM (
        SELECT (classid::bigint << 32) | objid::bigint AS key FROM pg_locks
        WHERE locktype = 'advisory' AND objsubid = 1 AND pid IS DISTINCT FROM pg_backend_pid()
        AND database = (SELECT oid FROM pg_database WHERE datname = current_database())
    ) AS held WHERE key BETWEEN %s AND %s
"""
