"""Signing in and out, devices and the password, over HTTP."""

from datetime import timedelta

import pytest
import time_machine
from rest_framework.test import APIClient

from coaching.models import Account, DeviceToken, SignInFailures
from tests.factories import NOW, PASSWORD, AccountFactory, ClientFactory, MembershipFactory

NEW_PASSWORD = "staple-horse-lantern"


def sign_in(email, password=PASSWORD, address="192.0.2.1", **more):
    body = {"email": email, "password": password, "device_name": "phone"} | more
    return APIClient().post("/api/v1/sign-in", body, REMOTE_ADDR=address)


def bearer(token):
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return api


def test_a_coach_signs_in_and_learns_who_they_are(cast):
    answer = sign_in(cast.coach.account.email)
    assert answer.status_code == 200
    assert answer.json()["me"] == {
        "account": {
            "id": str(cast.coach.account_id),
            "email": cast.coach.account.email,
            "name": "Carl Coach",
            "has_second_factor": False,
        },
        "practice": {
            "id": str(cast.practice.uid),
            "name": "Harbour Strength",
            "zone": "Europe/Berlin",
            "country": "DE",
            "emergency_text": "112",
        },
        "role": "coach",
        "membership": str(cast.coach.uid),
        "client": None,
        "device": str(DeviceToken.objects.get().uid),
        "expires_at": answer.json()["me"]["expires_at"],
    }


def test_the_token_that_was_answered_works_and_says_the_same(cast):
    answer = sign_in(cast.client.account.email).json()
    me = bearer(answer["token"]).get("/api/v1/me").json()
    assert me == answer["me"]
    assert (me["role"], me["client"], me["membership"]) == ("client", str(cast.client.uid), None)


def test_the_case_of_the_address_does_not_matter(cast):
    assert sign_in(cast.coach.account.email.upper()).status_code == 200


@pytest.mark.parametrize("email", ["nobody@example.org", "", "no address"])
def test_an_unknown_account_gets_the_answer_of_a_wrong_password(cast, email):
    wrong = sign_in(cast.coach.account.email, "not-the-password")
    unknown = sign_in(email or "x@example.org")
    assert (wrong.status_code, unknown.status_code) == (401, 401)
    assert wrong.content == unknown.content
    assert wrong["WWW-Authenticate"] == "Bearer"


def test_an_inactive_account_gets_the_same_answer(cast):
    Account.objects.filter(id=cast.coach.account_id).update(is_active=False)
    assert sign_in(cast.coach.account.email).content == sign_in("nobody@example.org").content


def test_who_has_left_every_practice_cannot_sign_in(cast):
    cast.coach.left_at = NOW
    cast.coach.save()
    assert sign_in(cast.coach.account.email).status_code == 401


def test_an_account_in_two_practices_must_name_one(cast):
    ClientFactory(coach=cast.stranger, account=cast.coach.account)
    answer = sign_in(cast.coach.account.email)
    assert answer.status_code == 422
    assert {fault["pointer"] for fault in answer.json()["errors"]} == {"/practice"}
    named = sign_in(cast.coach.account.email, practice=str(cast.stranger.practice.uid))
    assert named.json()["me"]["role"] == "client"


def test_naming_a_practice_of_others_is_refused_like_a_wrong_password(cast):
    answer = sign_in(cast.coach.account.email, practice=str(cast.stranger.practice.uid))
    assert answer.content == sign_in("nobody@example.org").content


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"email": None}, "/email"),
        ({"email": "x" * 300}, "/email"),
        ({"password": 5}, "/password"),
        ({"password": "x" * 1025}, "/password"),
        ({"device_name": ""}, "/device_name"),
        ({"device_name": "x" * 81}, "/device_name"),
        ({"practice": "7"}, "/practice"),
        ({"role": "owner"}, "/role"),
    ],
)
def test_a_bad_sign_in_is_422_at_its_field(cast, change, pointer):
    answer = sign_in(**({"email": cast.coach.account.email} | change))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert not DeviceToken.objects.exists()


def test_the_eleventh_failure_of_an_account_is_429_even_with_the_right_password(cast):
    email = cast.coach.account.email
    with time_machine.travel(NOW, tick=False):
        for _ in range(10):
            assert sign_in(email, "not-the-password").status_code == 401
        answer = sign_in(email)
    assert answer.status_code == 429
    assert answer["Retry-After"] == "900"
    assert answer.json()["type"] == "/problems/too_many_attempts"


def test_after_fifteen_minutes_the_account_may_try_again(cast):
    with time_machine.travel(NOW, tick=False) as clock:
        for _ in range(10):
            sign_in(cast.coach.account.email, "not-the-password")
        clock.shift(timedelta(minutes=14, seconds=59))
        assert sign_in(cast.coach.account.email).status_code == 429
        clock.shift(timedelta(seconds=1))
        assert sign_in(cast.coach.account.email).status_code == 200


def test_a_hundred_failures_end_an_address_for_every_account(cast):
    with time_machine.travel(NOW, tick=False):
        for number in range(100):
            sign_in(f"nobody{number}@example.org", address="2001:db8::1")
        assert sign_in(cast.coach.account.email, address="2001:db8::ffff").status_code == 429
        assert sign_in(cast.coach.account.email, address="2001:db8:0:1::1").status_code == 200


def test_successes_are_not_counted(cast):
    with time_machine.travel(NOW, tick=False):
        answers = [sign_in(cast.coach.account.email).status_code for _ in range(12)]
    assert answers == [200] * 12


def test_no_address_and_no_email_stands_in_the_counters(cast):
    sign_in(cast.coach.account.email, "not-the-password", address="192.0.2.77")
    kept = " ".join(SignInFailures.objects.values_list("key", flat=True))
    assert "192.0.2.77" not in kept
    assert "example.org" not in kept


def test_the_proxys_own_entry_is_the_address_and_not_what_the_caller_wrote(cast, settings):
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    body = {"email": "nobody@example.org", "password": "x", "device_name": "phone"}
    with time_machine.travel(NOW, tick=False):
        for number in range(101):
            answer = APIClient().post(
                "/api/v1/sign-in",
                body | {"email": f"nobody{number}@example.org"},
                HTTP_X_FORWARDED_FOR=f"198.51.100.{number}, 192.0.2.9",
            )
    assert answer.status_code == 429


def test_signing_out_ends_this_device_only(cast):
    one = sign_in(cast.coach.account.email).json()["token"]
    other = sign_in(cast.coach.account.email).json()["token"]
    assert bearer(one).post("/api/v1/sign-out").status_code == 204
    assert bearer(one).get("/api/v1/me").status_code == 401
    assert bearer(other).get("/api/v1/me").status_code == 200


def test_the_devices_of_an_account_are_listed_for_its_holder(cast, signed_in):
    sign_in(cast.coach.account.email)
    items = signed_in(cast.coach).get("/api/v1/devices").json()["items"]
    assert [item["device_name"] for item in items] == ["test device", "phone"]
    assert set(items[0]) == {
        "id",
        "device_name",
        "practice",
        "practice_name",
        "signed_in_at",
        "last_used_at",
        "expires_at",
    }


def test_another_device_can_be_signed_out(cast, signed_in):
    lost = sign_in(cast.coach.account.email).json()
    address = f"/api/v1/devices/{lost['me']['device']}"
    assert signed_in(cast.coach).delete(address).status_code == 204
    assert bearer(lost["token"]).get("/api/v1/me").status_code == 401


def test_a_device_of_somebody_else_is_not_there(cast, signed_in):
    device = sign_in(cast.coach.account.email).json()["me"]["device"]
    answer = signed_in(cast.owner).delete(f"/api/v1/devices/{device}")
    assert answer.status_code == 404
    assert DeviceToken.objects.filter(uid=device).exists()


def test_all_devices_end_at_once(cast, signed_in):
    token = sign_in(cast.coach.account.email).json()["token"]
    assert signed_in(cast.coach).delete("/api/v1/devices").status_code == 204
    assert bearer(token).get("/api/v1/me").status_code == 401


def test_the_fifty_first_device_ends_the_oldest(cast):
    first = sign_in(cast.coach.account.email).json()["token"]
    for _ in range(50):
        sign_in(cast.coach.account.email)
    assert DeviceToken.objects.count() == 50
    assert bearer(first).get("/api/v1/me").status_code == 401


def test_a_new_password_ends_the_other_devices(cast):
    one = sign_in(cast.coach.account.email).json()["token"]
    other = sign_in(cast.coach.account.email).json()["token"]
    body = {"current_password": PASSWORD, "new_password": NEW_PASSWORD}
    assert bearer(one).put("/api/v1/me/password", body).status_code == 204
    assert bearer(one).get("/api/v1/me").status_code == 200
    assert bearer(other).get("/api/v1/me").status_code == 401
    assert sign_in(cast.coach.account.email, NEW_PASSWORD).status_code == 200
    assert sign_in(cast.coach.account.email, PASSWORD).status_code == 401


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"current_password": "not-the-password"}, "/current_password"),
        ({"new_password": "short"}, "/new_password"),
        ({"new_password": "password1234"}, "/new_password"),
    ],
)
def test_a_password_that_is_wrong_or_weak_changes_nothing(cast, signed_in, change, pointer):
    body = {"current_password": PASSWORD, "new_password": NEW_PASSWORD} | change
    answer = signed_in(cast.coach).put("/api/v1/me/password", body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert sign_in(cast.coach.account.email).status_code == 200


def test_guessing_the_current_password_is_limited_like_a_sign_in(cast, signed_in):
    api = signed_in(cast.coach)
    body = {"current_password": "not-the-password", "new_password": NEW_PASSWORD}
    with time_machine.travel(NOW, tick=False):
        answers = [api.put("/api/v1/me/password", body).status_code for _ in range(11)]
    assert answers == [422] * 10 + [429]


def test_a_password_keeps_its_spaces(cast):
    account = AccountFactory(password="  spaces at both ends  ")
    MembershipFactory(practice=cast.practice, account=account)
    assert sign_in(account.email, "  spaces at both ends  ").status_code == 200
    assert sign_in(account.email, "spaces at both ends").status_code == 401


@pytest.mark.parametrize("address", ["me", "devices"])
def test_without_a_token_it_is_401(db, address):
    answer = APIClient().get(f"/api/v1/{address}")
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"] == "Bearer"


def use_up_the_tries_of(account):
    for _ in range(10):
        sign_in(account.email, "not-the-password", address="203.0.113.9")


def test_whoever_guesses_at_an_account_does_not_lock_out_its_devices(cast):
    account = cast.client.account
    with time_machine.travel(NOW, tick=False):
        proof = sign_in(account.email).json()["device_proof"]
        use_up_the_tries_of(account)
        assert sign_in(account.email).status_code == 429
        assert sign_in(account.email, device_proof=proof).status_code == 200


def test_a_known_device_has_ten_tries_of_its_own(cast):
    account = cast.client.account
    with time_machine.travel(NOW, tick=False):
        proof = sign_in(account.email).json()["device_proof"]
        tries = [sign_in(account.email, "not-it", device_proof=proof).status_code for _ in range(11)]
        assert tries == [401] * 10 + [429]
        assert sign_in(account.email).status_code == 200


@pytest.mark.parametrize("whose", ["another account", "made up", "tampered"])
def test_a_proof_that_is_not_the_accounts_own_helps_nobody(cast, whose):
    account = cast.client.account
    with time_machine.travel(NOW, tick=False):
        proof = {
            "another account": sign_in(cast.coach.account.email).json()["device_proof"],
            "made up": "x",
            "tampered": sign_in(account.email).json()["device_proof"][:-1] + "_",
        }[whose]
        use_up_the_tries_of(account)
        assert sign_in(account.email, device_proof=proof).status_code == 429


def test_a_proof_opens_nothing(cast):
    proof = sign_in(cast.client.account.email).json()["device_proof"]
    assert bearer(proof).get("/api/v1/me").status_code == 401
    assert sign_in(cast.client.account.email, "not-it", device_proof=proof).status_code == 401


def test_the_password_can_be_changed_while_strangers_guess(cast):
    account = cast.client.account
    with time_machine.travel(NOW, tick=False):
        api = bearer(sign_in(account.email).json()["token"])
        use_up_the_tries_of(account)
        body = {"current_password": PASSWORD, "new_password": NEW_PASSWORD}
        assert api.put("/api/v1/me/password", body).status_code == 204


@pytest.mark.parametrize(("idle_days", "status"), [(29, 200), (31, 401)])
def test_a_device_that_nobody_used_for_a_month_is_out(cast, idle_days, status):
    with time_machine.travel(NOW, tick=False):
        api = bearer(sign_in(cast.client.account.email).json()["token"])
        api.get("/api/v1/me")
    with time_machine.travel(NOW + timedelta(days=idle_days), tick=False):
        assert api.get("/api/v1/me").status_code == status
