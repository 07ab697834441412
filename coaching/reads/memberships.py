"""The members of a practice, for each other."""

import uuid

from coaching.errors import NotFoundError
from coaching.models import Actor, Membership
from coaching.models.base import ListQuerySet


def members_of(actor: Actor) -> ListQuerySet[Membership]:
    """Owners and coaches who are here now."""
    current = Membership.objects.filter(practice_id=actor.practice_id, left_at__isnull=True)
    return current.select_related("account", "cover")


def membership_for(actor: Actor, membership_uid: uuid.UUID) -> Membership:
    """One of them. Raises NotFoundError."""
    found = members_of(actor).filter(uid=membership_uid).first()
    if found is None:
        raise NotFoundError("There is no such member.")
    return found


def own_membership(actor: Actor) -> Membership:
    """The actor's own; they must be a coach."""
    return members_of(actor).get(account_id=actor.account_id)
