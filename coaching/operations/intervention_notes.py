"""What a coach changed about a site's training and why, to read later pain against."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from coaching.errors import ForbiddenError, InvalidError
from coaching.models import Actor, InterventionNote
from coaching.models.base import ListQuerySet
from coaching.operations.audit import record_change, record_reads
from coaching.operations.sites import check_site
from coaching.operations.standing import check_may_store
from coaching.operations.versions import Kept, looking_twice, twin_of
from coaching.reads.clients import client_for, local_today


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteContent:
    joint: str
    side: str
    noted_on: date
    changed: str
    reason: str = ""
    is_shared: bool = False


@looking_twice
@transaction.atomic
def write_note(
    *,
    actor: Actor,
    client_uid: uuid.UUID,
    content: NoteContent,
    now: datetime,
    own_uid: uuid.UUID | None = None,
) -> Kept[InterventionNote]:
    """Keep an intervention note.

    Safe to repeat with an id of one's own; without, each call is a note of its own. Raises NotFoundError,
    ForbiddenError, InvalidError, ConsentMissingError, GoneError, ConflictError.
    """
    client = client_for(actor, client_uid)
    if not actor.is_coach:
        raise ForbiddenError("Only a coach writes intervention notes.")
    check_may_store(client)
    check_site(joint=content.joint, side=content.side)
    if content.noted_on > local_today(client, now):
        raise InvalidError.at("noted_on", "in_future", "This date lies in the future.")
    note = InterventionNote(
        uid=own_uid or uuid.uuid4(),
        practice_id=client.practice_id,
        client=client,
        joint=content.joint,
        side=content.side,
        noted_on=content.noted_on,
        changed=content.changed,
        reason=content.reason,
        is_shared=content.is_shared,
        author_id=actor.account_id,
        created_at=now,
    )
    notes = InterventionNote.objects.filter(client=client)
    standing = twin_of(note, visible=notes) if own_uid else None
    if standing is not None:
        return Kept(standing, is_new=False)
    note.save(force_insert=True)
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action="create",
        record_kind="intervention_note",
        record_id=str(note.uid),
        now=now,
    )
    return Kept(note, is_new=True)


def read_notes(*, actor: Actor, client_uid: uuid.UUID, now: datetime) -> ListQuerySet[InterventionNote]:
    """A coach's notes about a client; the client gets the shared ones. Raises NotFoundError."""
    client = client_for(actor, client_uid)
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="intervention_note", now=now)
    notes = InterventionNote.objects.filter(client=client).select_related("author")
    return notes if actor.is_coach else notes.filter(is_shared=True)
