"""Who has an account is not told: not by words, not by work done, not by look-alikes of an address."""

import pytest
from django.contrib.auth import hashers
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from coaching.models import Account, MailRow, SignInFailures
from tests.factories import PASSWORD, AccountFactory, MembershipFactory

UNKNOWN = "nobody@example.org"
# Dotless and dotted i, long s, sharp s, full-width signs, a Cyrillic letter, an accent on its own.
LOOK_ALIKES = [
    "m\u0131ss@example.org",
    "m\u0130ss@example.org",
    "mi\u017fs@example.org",
    "mi\u00df@example.org",
    "miss\uff20example.org",
    "\uff4diss@example.org",
    "mis\u0455@example.org",
    "miss\u0301@example.org",
    "miss@example\u3002org",
    "miss@example.org\u200b",
]


@pytest.fixture
def member(db):
    return MembershipFactory(account__email="miss@example.org")


@pytest.fixture
def hashes(monkeypatch):
    made = []
    encode = hashers.MD5PasswordHasher.encode

    def counted(hasher, password, salt):
        made.append(password)
        return encode(hasher, password, salt)

    monkeypatch.setattr(hashers.MD5PasswordHasher, "encode", counted)
    return made


def sign_in(email, password="not-the-password"):
    body = {"email": email, "password": password, "device_name": "any"}
    return APIClient().post("/api/v1/sign-in", body, format="json")


def ask_for_reset(email):
    return APIClient().post("/api/v1/password-resets", {"email": email}, format="json")


def work_of(call, *given):
    """What a call costs: answer, statements in their order, without what differs from row to row."""
    with CaptureQueriesContext(connection) as queries:
        answer = call(*given)
    return answer.status_code, answer.content, [query["sql"].split(" ", 1)[0] for query in queries]


@pytest.mark.parametrize("call", [sign_in, ask_for_reset])
def test_a_known_and_an_unknown_address_cost_the_same(member, hashes, call):
    call("warm.up@example.org")
    hashes.clear()
    known, hashes_of_known = work_of(call, "miss@example.org"), len(hashes)
    hashes.clear()
    unknown, hashes_of_unknown = work_of(call, UNKNOWN), len(hashes)
    assert (known[:2], hashes_of_known) == (unknown[:2], hashes_of_unknown)
    assert len(known[2]) == len(unknown[2])


def test_an_invitation_answers_alike_whether_the_address_has_an_account_elsewhere(member, cast, signed_in):
    owner = signed_in(cast.owner)

    def invite(email):
        return owner.post("/api/v1/invitations", {"role": "coach", "email": email}, format="json")

    invite("warm.up@example.org")
    known, unknown = work_of(invite, "miss@example.org"), work_of(invite, "nona@example.org")
    assert (known[0], len(known[2])) == (unknown[0], len(unknown[2]))


@pytest.mark.parametrize("email", LOOK_ALIKES)
def test_a_look_alike_of_an_address_signs_nobody_in_and_mails_nobody(member, email):
    assert sign_in(email, PASSWORD).status_code == 401
    assert ask_for_reset(email).status_code == 202
    assert not MailRow.objects.exists()


@pytest.mark.parametrize("email", LOOK_ALIKES)
def test_a_look_alike_is_no_address_to_invite(member, cast, signed_in, email):
    body = {"role": "coach", "email": email}
    answer = signed_in(cast.owner).post("/api/v1/invitations", body, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/email")


def test_guesses_cost_ten_hashes_for_an_account_however_its_address_is_written(member, hashes):
    hashes.clear()
    spellings = ["miss@example.org", "MISS@example.org", " Miss@Example.ORG "]
    for turn in range(60):
        sign_in(spellings[turn % 3], str(turn))
    assert len(hashes) == 10
    account = [row.failures for row in SignInFailures.objects.filter(key__startswith="account:")]
    assert sum(account) == 10


def test_two_accounts_never_differ_by_case_alone(member):
    for spelling in ("MISS@example.org", "Miss@Example.Org"):
        with pytest.raises(IntegrityError), transaction.atomic():
            AccountFactory(email=spelling)
    assert Account.objects.named("MISS@EXAMPLE.ORG") == member.account
