"""Reading what a client's sites tolerated and how left and right compare, with the reading on the trail."""

import uuid
from datetime import datetime, timedelta

from coaching.models import Actor
from coaching.operations.audit import record_reads
from coaching.reads.clients import client_for, local_today
from coaching.reads.side_differences import ClientSides, client_sides
from coaching.reads.tolerated import ToleratedSites, tolerated_sites


def read_tolerated_exposure(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ToleratedSites:
    """What each site has tolerated up to yesterday, the last whole day. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="tolerated_exposure", now=now)
    return tolerated_sites(client_id=client.id, until_on=local_today(client, now) - timedelta(days=1))


def read_side_differences(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ClientSides:
    """Left against right up to today. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="side_differences", now=now)
    return client_sides(client_id=client.id, until_on=local_today(client, now))
