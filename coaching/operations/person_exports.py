"""Who may take out all there is about a person, noted on the trail each time."""

import uuid
from datetime import datetime

from coaching.models import Actor, Client
from coaching.operations.audit import record_change
from coaching.operations.standing import check_may_process
from coaching.reads.clients import client_for


def client_to_export(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> Client:
    """The client, if this actor may take their archive out.

    After a withdrawal that is the client, and the owner on their behalf. Raises NotFoundError, GoneError,
    ConsentMissingError.
    """
    client = client_for(actor, client_uid)
    if actor.client_id is None and not actor.is_owner:
        check_may_process(client)
    note_export(client=client, actor=actor, now=now)
    return client


def note_export(*, client: Client, actor: Actor | None, now: datetime) -> None:
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action="export",
        record_kind="person_archive",
        record_id="",
        now=now,
    )
