"""What many at once may do: guess no more often than the limit says, and use a link up only once."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.contrib.auth.hashers import MD5PasswordHasher
from django.db import connection

from coaching.errors import LinkError, SignInError, TooManyAttemptsError
from coaching.models import Account, Membership, SignInFailures
from coaching.operations.invitations import accept_invitation
from coaching.operations.practices import create_practice
from coaching.operations.sign_in import sign_in
from tests.factories import NOW, AccountFactory


@pytest.fixture
def hashes(monkeypatch) -> list[str]:
    """Every password that was compared with a stored hash."""
    compared: list[str] = []
    verify = MD5PasswordHasher.verify

    def note(self, password, encoded):
        compared.append(password)
        return verify(self, password, encoded)

    monkeypatch.setattr(MD5PasswordHasher, "verify", note)
    return compared


@pytest.fixture
def encodings(monkeypatch) -> list[str]:
    """Every password that was hashed, whether or not there was something to compare it with."""
    hashed: list[str] = []
    encode = MD5PasswordHasher.encode

    def note(self, password, salt):
        hashed.append(password)
        return encode(self, password, salt)

    monkeypatch.setattr(MD5PasswordHasher, "encode", note)
    return hashed


def guess(email: str) -> str:
    try:
        sign_in(email=email, password="not-it", device_name="x", address="192.0.2.1", now=NOW)
    except (SignInError, TooManyAttemptsError) as refusal:
        return refusal.code
    return "in"


def at_once(number: int, call: Callable[[], str]) -> list[str]:
    barrier = Barrier(number)

    def run(_: int) -> str:
        barrier.wait()
        try:
            return call()
        finally:
            connection.close()

    with ThreadPoolExecutor(number) as pool:
        return list(pool.map(run, range(number)))


def test_one_after_the_other_ten_of_sixty_four_guesses_are_evaluated(db, hashes):
    email = AccountFactory().email
    answers = [guess(email) for _ in range(64)]
    assert len(hashes) == 10
    assert answers == ["sign_in_refused"] * 10 + ["too_many_attempts"] * 54


def test_an_unknown_account_costs_as_many_hashes_as_a_known_one(db, encodings):
    email = AccountFactory().email
    encodings.clear()
    guess(email)
    guess("nobody@example.org")
    assert encodings == ["not-it", "not-it"]


def test_refused_guesses_do_not_prolong_the_wait(db):
    email = AccountFactory().email
    for _ in range(64):
        guess(email)
    assert sorted(SignInFailures.objects.values_list("failures", flat=True)) == [10, 10]


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_of_sixty_four_guesses_at_once_at_most_ten_are_evaluated(hashes):
    email = AccountFactory().email
    answers = at_once(64, lambda: guess(email))
    assert 1 <= len(hashes) <= 10
    assert answers.count("sign_in_refused") == len(hashes)
    assert answers.count("too_many_attempts") == 64 - len(hashes)


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_of_eight_accepts_at_once_exactly_one_wins():
    made = create_practice(name="Harbour", zone="UTC", country="GB", owner_email="o@example.org", now=NOW)

    def accept() -> str:
        try:
            accept_invitation(
                token=made.invitation.token,
                name="Olga Owner",
                password="lantern-horse-staple",
                device_name="x",
                address="192.0.2.1",
                now=NOW,
            )
        except LinkError as refusal:
            return refusal.code
        except SignInError as refusal:
            return refusal.code
        return "in"

    assert at_once(8, accept).count("in") == 1
    assert (Account.objects.count(), Membership.objects.count()) == (1, 1)
