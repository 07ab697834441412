"""Signing in and changing the password."""

import uuid
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from coaching.errors import FieldFault, InvalidError, SignInError
from coaching.models import Account, Actor, Client, DeviceToken, Membership, Practice
from coaching.operations.devices import SignedIn, audit_devices, open_device
from coaching.operations.passwords import REFUSED, new_password_hash, prove_password


@dataclass(frozen=True, slots=True)
class _Place:
    """Where an account may go: a practice, as a member or as a client."""

    practice: Practice
    membership: Membership | None = None
    client: Client | None = None


def sign_in(
    *,
    email: str,
    password: str,
    device_name: str,
    address: str,
    now: datetime,
    practice_uid: uuid.UUID | None = None,
) -> SignedIn:
    """Open a device. Raises SignInError, TooManyAttemptsError, InvalidError where the practice must be named.

    Not atomic as a whole: a failure must stay counted.
    """
    account = prove_password(email=email, password=password, address=address, now=now)
    place = _place_of(account, practice_uid)
    with transaction.atomic():
        signed_in = open_device(
            account=account,
            practice=place.practice,
            membership=place.membership,
            client=place.client,
            device_name=device_name,
        )
        audit_devices(signed_in.actor, "sign_in", str(signed_in.device.uid), now)
    return signed_in


def change_password(*, actor: Actor, current: str, new: str, address: str, now: datetime) -> None:
    """Set a new password and end every other device. Raises TooManyAttemptsError, InvalidError."""
    account = Account.objects.get(id=actor.account_id)
    try:
        prove_password(email=account.email, password=current, address=address, now=now)
    except SignInError:
        detail = "This is not the current password."
        raise InvalidError.at("current_password", "wrong_password", detail) from None
    account.password = new_password_hash(account, new, field="new_password")
    with transaction.atomic():
        account.save(update_fields=["password"])
        DeviceToken.objects.filter(user=account).exclude(uid=actor.device_id).delete()
        audit_devices(actor, "change_password", str(actor.device_id), now)


def _place_of(account: Account, practice_uid: uuid.UUID | None) -> _Place:
    places = [place for place in _places(account) if practice_uid in (None, place.practice.uid)]
    if not places:
        raise SignInError(REFUSED)
    if len(places) > 1:
        faults = tuple(
            FieldFault(("practice",), "choose_one", f"{place.practice.uid} is {place.practice.name}.")
            for place in places
        )
        raise InvalidError("This account is in several practices; name one.", faults)
    return places[0]


def _places(account: Account) -> list[_Place]:
    memberships = Membership.objects.filter(account=account, left_at__isnull=True).select_related("practice")
    clients = Client.objects.current().filter(account=account).select_related("practice")
    return [
        *(_Place(row.practice, membership=row) for row in memberships.order_by("id")),
        *(_Place(row.practice, client=row) for row in clients.order_by("id")),
    ]
