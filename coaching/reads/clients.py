"""Finding a client for whoever asks; not theirs and not there are the same answer."""

import uuid
from datetime import date, datetime
from zoneinfo import ZoneInfo

from coaching.errors import GoneError, InvalidError, NotFoundError
from coaching.models import Actor, Client, ErasedDigest
from coaching.models.client import ClientQuerySet


def client_for(actor: Actor, client_uid: uuid.UUID) -> Client:
    """The client with this id if the actor may see them.

    Raises NotFoundError, or GoneError for a duplicate and for somebody erased.
    """
    found = _visible(actor).filter(uid=client_uid).first()
    if found is None:
        erased = ErasedDigest.objects.of_records(actor.practice_id, [client_uid])
        if actor.client_id is None and erased.exists():
            raise GoneError("This client has been erased.")
        raise NotFoundError("There is no such client.")
    if found.merged_into_id is not None:
        stays = _visible(actor).filter(id=found.merged_into_id).first()
        raise GoneError(
            "This record was a duplicate" + (f"; all of it is with client {stays.uid}." if stays else ".")
        )
    return found


def _visible(actor: Actor) -> ClientQuerySet:
    return Client.objects.visible_to(actor).select_related("practice", "coach__account")


def written_client(actor: Actor, named_uid: uuid.UUID | None) -> Client:
    """Whose record is written: a client's own, or the one a coach names. Raises InvalidError.

    What was meant for a duplicate goes to the record it was merged into: an app that was away does not know.
    """
    if actor.client_id is not None and named_uid is None:
        return Client.objects.select_related("practice").get(id=actor.client_id)
    if named_uid is None:
        raise InvalidError.at("client", "required", "Say whose record this is.")
    merged = _visible(actor).filter(duplicates__uid=named_uid, practice_id=actor.practice_id).first()
    return merged or client_for(actor, named_uid)


def merged_into(client: Client) -> ClientQuerySet:
    """What is left of every duplicate that was merged into this client, also of duplicates of duplicates."""
    return Client.objects.filter(merged_into=client)


def clients_for(actor: Actor, *, is_archived: bool) -> ClientQuerySet:
    """The clients the actor may see: those who train here now, or those who did."""
    return (
        Client.objects.visible_to(actor)
        .filter(archived_at__isnull=not is_archived, merged_into__isnull=True)
        .select_related("coach__account")
    )


def local_today(client: Client, now: datetime) -> date:
    """What day it is where the client lives."""
    return now.astimezone(ZoneInfo(client.zone)).date()
