"""Looking for another exercise; where it is for one client, the reading is on the trail."""

import uuid
from datetime import datetime

from coaching.models import Actor, Client
from coaching.operations.audit import record_reads
from coaching.reads.clients import client_for, local_today
from coaching.reads.swaps import Swaps, swaps_for


def read_swaps(
    *, actor: Actor, code: str, joint: str, side: str, client_uid: uuid.UUID | None, now: datetime
) -> Swaps:
    """For the client named, for a client who asks themselves, else for the practice. Raises NotFoundError."""
    client = _client(actor, client_uid)
    today = now.date() if client is None else local_today(client, now)
    swaps = swaps_for(
        practice_id=actor.practice_id, code=code, joint=joint, side=side, client=client, today=today
    )
    if client is not None:
        record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="swaps", now=now)
    return swaps


def _client(actor: Actor, client_uid: uuid.UUID | None) -> Client | None:
    if client_uid is None and actor.client_id is not None:
        return Client.objects.get(id=actor.client_id)
    return None if client_uid is None else client_for(actor, client_uid)
