"""Signing in and changing the password."""

import uuid
from datetime import datetime

from django.db import transaction

from coaching.errors import FieldFault, InvalidError, SignInError
from coaching.models import Account, Actor, DeviceToken
from coaching.models.scope import across_practices
from coaching.operations.device_proofs import proven_device
from coaching.operations.devices import SignedIn, audit_devices, open_device
from coaching.operations.passwords import REFUSED, new_password_hash, prove_current_password, prove_identity
from coaching.reads.places import Place, places_of


@across_practices("where an account may go is known only once it is proven")
def sign_in(
    *,
    email: str,
    password: str,
    device_name: str,
    address: str,
    now: datetime,
    practice_uid: uuid.UUID | None = None,
    code: str = "",
    device_proof: str = "",
) -> SignedIn:
    """Open a device. Raises SignInError, TooManyAttemptsError, SecondFactorNeededError, and InvalidError
    where the practice must be named.

    Not atomic as a whole: a failure must stay counted.
    """
    named = Account.objects.named(email)
    account = prove_identity(
        email=email,
        password=password,
        code=code,
        address=address,
        now=now,
        known_device=proven_device(device_proof, named.id if named else None),
    )
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
    account = prove_current_password(actor=actor, password=current, address=address, now=now)
    account.password = new_password_hash(account, new, field="new_password")
    with transaction.atomic():
        account.save(update_fields=["password"])
        with across_practices("a new password ends the account's devices everywhere"):
            DeviceToken.objects.filter(user=account).exclude(uid=actor.device_id).delete()
        audit_devices(actor, "change_password", str(actor.device_id), now)


def _place_of(account: Account, practice_uid: uuid.UUID | None) -> Place:
    places = [place for place in places_of(account) if practice_uid in (None, place.practice.uid)]
    if not places:
        raise SignInError(REFUSED)
    if len(places) > 1:
        faults = tuple(
            FieldFault(("practice",), "choose_one", f"{place.practice.uid} is {place.practice.name}.")
            for place in places
        )
        raise InvalidError("This account is in several practices; name one.", faults)
    return places[0]
