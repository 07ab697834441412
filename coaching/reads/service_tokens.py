"""The service tokens of a practice, for its owners."""

import uuid

from coaching.errors import NotFoundError
from coaching.models import Actor, ServiceToken
from coaching.models.base import ListQuerySet


def service_tokens_of(actor: Actor) -> ListQuerySet[ServiceToken]:
    """Those that nobody has revoked."""
    rows = ServiceToken.objects.kept().filter(practice_id=actor.practice_id)
    return rows.select_related("made_by__account").prefetch_related("coaches")


def service_token_for(actor: Actor, token_uid: uuid.UUID) -> ServiceToken:
    """One of them. Raises NotFoundError."""
    found = service_tokens_of(actor).filter(uid=token_uid).first()
    if found is None:
        raise NotFoundError("There is no such service token.")
    return found
