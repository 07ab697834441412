"""Finding a client for whoever asks; not theirs and not there are the same answer."""

import uuid

from coaching.errors import InvalidError, NotFoundError
from coaching.models import Actor, Client


def client_for(actor: Actor, client_uid: uuid.UUID) -> Client:
    """The client with this id if the actor may see them. Raises NotFoundError."""
    client = (
        Client.objects.visible_to(actor).select_related("practice", "coach__account").filter(uid=client_uid)
    )
    found = client.first()
    if found is None:
        raise NotFoundError("There is no such client.")
    return found


def written_client(actor: Actor, named_uid: uuid.UUID | None) -> Client:
    """Whose record a write is: a client's own, or the one a coach names. Raises InvalidError, NotFoundError."""
    if actor.client_id is not None and named_uid is None:
        return Client.objects.select_related("practice").get(id=actor.client_id)
    if named_uid is None:
        raise InvalidError.at("client", "required", "Say whose record this is.")
    return client_for(actor, named_uid)
