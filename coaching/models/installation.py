"""Which installation this database belongs to, and how far it had come: a restored one is behind its mark."""

import uuid

from django.db import models


class Installation(models.Model):
    """One row; the same mark and time lie in a file beside the service (`coaching/installation.py`)."""

    name = models.CharField(max_length=10, primary_key=True, default="this")
    mark = models.UUIDField(default=uuid.uuid4)
    seen_at = models.DateTimeField()
