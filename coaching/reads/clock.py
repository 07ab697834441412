"""What time it is, for work that several machines share."""

from datetime import datetime

from django.db import connection
from django.utils import timezone


def shared_now() -> datetime:
    """The clock of the PostgreSQL server, so that no worker's own plans a night; on SQLite this machine's."""
    if connection.vendor != "postgresql":
        return timezone.now()
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        now: datetime = cursor.fetchone()[0]
    return now
