"""The devices of an account, for its holder."""

from datetime import datetime

from django.db.models import Q

from coaching.models import Actor, DeviceToken
from coaching.models.scope import across_practices


@across_practices("an account may be signed in to several practices")
def devices_of(actor: Actor, now: datetime) -> list[DeviceToken]:
    """Where the account is signed in, in every practice, newest first; their number is bounded."""
    standing = DeviceToken.objects.filter(user_id=actor.account_id).filter(
        Q(expiry__isnull=True) | Q(expiry__gt=now)
    )
    return list(standing.select_related("practice").order_by("-created"))
