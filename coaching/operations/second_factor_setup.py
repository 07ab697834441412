"""Setting up a second factor and taking it away, after the password was given again."""

import secrets
from dataclasses import dataclass
from datetime import datetime

import pyotp
from django.db import transaction

from coaching.errors import ConflictError, InvalidError
from coaching.models import Account, Actor, SecondFactor
from coaching.operations.devices import audit_devices
from coaching.operations.passwords import prove_current_password
from coaching.operations.sealing import seal
from coaching.operations.second_factor import (
    confirmed_factor,
    passes_second_factor,
    recovery_digest,
    uses_time_code,
)

ISSUER = "Forbear"
RECOVERY_CODES = 10
RECOVERY_BYTES = 8


@dataclass(frozen=True, slots=True)
class NewSecondFactor:
    """`secret` is in clear here and nowhere else; `address` is the same for an authenticator app."""

    secret: str
    address: str


def begin_second_factor(
    *, actor: Actor, current_password: str, address: str, now: datetime
) -> NewSecondFactor:
    """A new secret, not asked for until it is confirmed; one begun earlier ends.

    Raises InvalidError, TooManyAttemptsError, ConflictError.
    """
    prove_current_password(actor=actor, password=current_password, address=address, now=now)
    with transaction.atomic():
        account = _locked_account(actor)
        if confirmed_factor(account) is not None:
            raise ConflictError("There is a second factor already; remove it first.")
        SecondFactor.objects.filter(account=account).delete()
        secret = pyotp.random_base32()
        SecondFactor.objects.create(account=account, secret_sealed=seal(secret), made_at=now)
    return NewSecondFactor(secret, pyotp.TOTP(secret, name=account.email, issuer=ISSUER).provisioning_uri())


@transaction.atomic
def confirm_second_factor(*, actor: Actor, code: str, now: datetime) -> list[str]:
    """Sign-in asks for a code from now on. Answers the recovery codes, shown once.

    Raises InvalidError, ConflictError.
    """
    account = _locked_account(actor)
    factor = SecondFactor.objects.filter(account=account, confirmed_at__isnull=True).first()
    if factor is None:
        raise ConflictError("There is no second factor that waits to be confirmed.")
    if not uses_time_code(factor, code, now):
        raise _wrong_code()
    codes = [secrets.token_hex(RECOVERY_BYTES) for _ in range(RECOVERY_CODES)]
    factor.confirmed_at = now
    factor.recovery_digests = [recovery_digest(each) for each in codes]
    factor.save(update_fields=["confirmed_at", "recovery_digests"])
    audit_devices(actor, "add_second_factor", str(actor.device_id), now)
    return codes


def remove_second_factor(
    *, actor: Actor, current_password: str, code: str, address: str, now: datetime
) -> None:
    """Sign-in asks for the password alone again. Raises InvalidError, TooManyAttemptsError, ConflictError."""
    prove_current_password(actor=actor, password=current_password, address=address, now=now)
    with transaction.atomic():
        account = _locked_account(actor)
        if confirmed_factor(account) is None:
            raise ConflictError("There is no second factor.")
        if not passes_second_factor(account, code, now):
            raise _wrong_code()
        SecondFactor.objects.filter(account=account).delete()
        audit_devices(actor, "remove_second_factor", str(actor.device_id), now)


def _wrong_code() -> InvalidError:
    return InvalidError.at("code", "wrong_code", "This code is not right.")


def _locked_account(actor: Actor) -> Account:
    return Account.objects.select_for_update().get(id=actor.account_id)
