"""Reading the trail itself, which is a reading like any other."""

import uuid
from datetime import datetime

from coaching.models import Actor, AuditEvent
from coaching.models.base import ListQuerySet
from coaching.operations.audit import record_reads
from coaching.reads.audit import TrailFilter, audit_trail
from coaching.reads.clients import client_for


def read_trail(
    *, actor: Actor, client_uid: uuid.UUID, wanted: TrailFilter, now: datetime
) -> ListQuerySet[AuditEvent]:
    """Who read or changed a client's records. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="audit", now=now)
    return audit_trail(actor, client, wanted)
