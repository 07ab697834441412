"""Passwords: proven under the sign-in limits, hashed at most two at a time."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from coaching.errors import FieldFault, InvalidError, SignInError, TooManyAttemptsError
from coaching.models import Account, Actor
from coaching.operations.second_factor import passes_second_factor
from coaching.operations.sign_in_limits import count_attempt, take_back

MAX_PASSWORD_CHARACTERS = 1024
HASHES_AT_ONCE = 2
HASH_WAIT_S = 5
REFUSED = "E-mail and password do not match an account."

# One Argon2 hash takes about 100 MiB, so their number is what bounds the memory of a process.
_hashing = threading.BoundedSemaphore(HASHES_AT_ONCE)


def prove_password(
    *, email: str, password: str, address: str, now: datetime, known_device: str | None = None
) -> Account:
    """The account whose password this is. Raises SignInError or TooManyAttemptsError.

    A failure stays counted, so never call it inside a transaction. An unknown address costs the same hash
    and gets the same answer as a wrong password.
    """
    with counted_try(email=email, address=address, now=now, known_device=known_device):
        return _proven(email, password)


def prove_identity(
    *, email: str, password: str, code: str, address: str, now: datetime, known_device: str | None = None
) -> Account:
    """The same, and the account's second factor, if it has one. Raises SecondFactorNeededError as well."""
    with counted_try(email=email, address=address, now=now, known_device=known_device):
        account = _proven(email, password)
        if not passes_second_factor(account, code, now):
            raise SignInError(REFUSED)
        return account


def prove_current_password(*, actor: Actor, password: str, address: str, now: datetime) -> Account:
    """Whoever is signed in gives their password again. Raises InvalidError or TooManyAttemptsError."""
    account = Account.objects.get(id=actor.account_id)
    try:
        return prove_password(
            email=account.email,
            password=password,
            address=address,
            now=now,
            known_device=str(actor.device_id),
        )
    except SignInError:
        detail = "This is not the current password."
        raise InvalidError.at("current_password", "wrong_password", detail) from None


@contextmanager
def counted_try(*, email: str, address: str, now: datetime, known_device: str | None) -> Iterator[None]:
    """A refusal inside stays counted as a failure; anything else is taken back."""
    attempt = count_attempt(email=email, address=address, now=now, known_device=known_device)
    try:
        yield
    except SignInError:
        raise
    except BaseException:
        take_back(attempt)
        raise
    take_back(attempt)


def _proven(email: str, password: str) -> Account:
    account = Account.objects.named(email)
    is_right = _is_right(account, password)
    if account is None or not is_right or not account.is_active:
        raise SignInError(REFUSED)
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
