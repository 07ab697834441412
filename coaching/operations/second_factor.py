"""The second factor at sign-in: a time-based code or a recovery code, each good for once."""

import hashlib
import secrets
from datetime import datetime, timedelta

import pyotp
from django.db import transaction

from coaching.errors import SecondFactorNeededError
from coaching.models import Account, SecondFactor
from coaching.operations.sealing import SealError, unseal

STEP_S = 30
STEPS_AROUND = 1  # a phone's clock may be half a minute off, in each direction


@transaction.atomic
def passes_second_factor(account: Account, code: str, now: datetime) -> bool:
    """Whether the code opens the account, and then uses it up; always, if the account has no second factor.

    Raises SecondFactorNeededError without a code.
    """
    if confirmed_factor(account) is None:
        return True
    if not code:
        raise SecondFactorNeededError("Give the code of the second factor as well.")
    factor = SecondFactor.objects.select_for_update().get(account=account)
    return uses_time_code(factor, code, now) or _uses_recovery_code(factor, code)


def confirmed_factor(account: Account) -> SecondFactor | None:
    return SecondFactor.objects.filter(account=account, confirmed_at__isnull=False).first()


def uses_time_code(factor: SecondFactor, code: str, now: datetime) -> bool:
    """A code of a step that was not used before; the row, which the caller has locked, remembers the step."""
    try:
        totp = pyotp.TOTP(unseal(factor.secret_sealed), interval=STEP_S)
    except SealError:
        return False
    digits = code.replace(" ", "").encode()
    for offset in range(-STEPS_AROUND, STEPS_AROUND + 1):
        at = now + timedelta(seconds=offset * STEP_S)
        step = int(at.timestamp()) // STEP_S
        if step > factor.last_step and secrets.compare_digest(totp.at(at).encode(), digits):
            factor.last_step = step
            factor.save(update_fields=["last_step"])
            return True
    return False


def _uses_recovery_code(factor: SecondFactor, code: str) -> bool:
    digest = recovery_digest(code)
    if digest not in factor.recovery_digests:
        return False
    factor.recovery_digests = [kept for kept in factor.recovery_digests if kept != digest]
    factor.save(update_fields=["recovery_digests"])
    return True


def recovery_digest(code: str) -> str:
    return hashlib.sha256(code.strip().lower().encode()).hexdigest()
