"""Passwords: proven under the sign-in limits, hashed at most two at a time."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from coaching.errors import FieldFault, InvalidError, SignInError, TooManyAttemptsError
from coaching.models import Account
from coaching.operations.sign_in_limits import count_attempt, take_back

MAX_PASSWORD_CHARACTERS = 1024
HASHES_AT_ONCE = 2
HASH_WAIT_S = 5
REFUSED = "E-mail and password do not match an account."

# One Argon2 hash takes about 100 MiB, so their number is what bounds the memory of a process.
_hashing = threading.BoundedSemaphore(HASHES_AT_ONCE)


def prove_password(*, email: str, password: str, address: str, now: datetime) -> Account:
    """The account whose password this is. Raises SignInError or TooManyAttemptsError.

    A failure stays counted, so never call it inside a transaction. An unknown address costs the same hash
    and gets the same answer as a wrong password.
    """
    attempt = count_attempt(email=email, address=address, now=now)
    account = Account.objects.named(email)
    try:
        is_right = _is_right(account, password)
    except TooManyAttemptsError:
        take_back(attempt)
        raise
    if account is None or not is_right or not account.is_active:
        raise SignInError(REFUSED)
    take_back(attempt)
    return account


def new_password_hash(account: Account, password: str, *, field: str) -> str:
    """The hash to keep. Raises InvalidError at `field` for a password that is too weak."""
    try:
        validate_password(password, account)
    except ValidationError as refusal:
        faults = tuple(
            FieldFault((field,), error.code or "invalid", " ".join(error.messages))
            for error in refusal.error_list
        )
        raise InvalidError("This password is not acceptable.", faults) from None
    with _one_of_few():
        return make_password(password)


def _is_right(account: Account | None, password: str) -> bool:
    with _one_of_few():
        if account is None:
            make_password(password)
            return False
        return account.check_password(password)


@contextmanager
def _one_of_few() -> Iterator[None]:
    if not _hashing.acquire(timeout=HASH_WAIT_S):
        raise TooManyAttemptsError("Too many people sign in at this moment; try again.", HASH_WAIT_S)
    try:
        yield
    finally:
        _hashing.release()
