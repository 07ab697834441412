"""Which installation this database belongs to, and how far it had come (`coaching/installation.py`)."""

import uuid

from django.db import models


class Installation(models.Model):
    """One row. `table_oid` is that of its own table on PostgreSQL: a dump that was restored has another."""

    name = models.CharField(max_length=10, primary_key=True, default="this")
    mark = models.UUIDField(default=uuid.uuid4)
    seen_at = models.DateTimeField()
    table_oid = models.BigIntegerField(null=True)
    is_held = models.BooleanField(default=False)
