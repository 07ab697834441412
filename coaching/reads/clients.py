"""Finding a client for whoever asks; not theirs and not there are the same answer."""

import uuid

from coaching.errors import NotFoundError
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
