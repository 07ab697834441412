"""The devices of an account, for its holder, and the one that a token is of."""

from datetime import datetime

from django.db.models import Q
from django.utils.crypto import constant_time_compare
from knox.crypto import hash_token
from knox.settings import CONSTANTS

from coaching.errors import GoneError
from coaching.models import Actor, DeviceToken, ErasedDigest
from coaching.models.kept_query import KeptQuery
from coaching.models.scope import across_practices

ANY_KEY = ""  # in the place of the parameter
_OF_KEY = KeptQuery(
    lambda: DeviceToken.objects.filter(token_key=ANY_KEY).select_related(
        "user", "practice", "membership", "client"
    )
)


def device_with(token: str) -> DeviceToken | None:
    """With its account, its practice, and who the bearer is there: every request asks for them."""
    digest = hash_token(token)
    of_key = _OF_KEY.rows(token[: CONSTANTS.TOKEN_KEY_LENGTH])
    return next((device for device in of_key if constant_time_compare(device.digest, digest)), None)


@across_practices("an account may be signed in to several practices")
def devices_of(actor: Actor, now: datetime) -> list[DeviceToken]:
    """Where the account is signed in, in every practice, newest first; their number is bounded."""
    standing = DeviceToken.objects.filter(user_id=actor.account_id).filter(
        Q(expiry__isnull=True) | Q(expiry__gt=now)
    )
    return list(standing.select_related("practice").order_by("-created"))


@across_practices("nothing tells any more whose it was")
def check_bearer_is_not_erased(token: str) -> None:
    """Raises GoneError for the token of somebody who was erased, so that a device drops what it has kept."""
    if ErasedDigest.objects.of_token(hash_token(token)).exists():
        raise GoneError("This person has been erased; remove what this device has of them.")
