"""The second factor over HTTP; the codes come from the RFC's own algorithm in another library's hands."""

from datetime import timedelta

import pyotp
import pytest
import time_machine
from rest_framework.test import APIClient

from coaching.models import AuditEvent, SecondFactor
from tests.factories import NOW, PASSWORD

# RFC 6238 appendix B, SHA-1, the last six of eight digits.
PUBLISHED = [(59, "287082"), (1111111109, "081804"), (1111111111, "050471"), (1234567890, "005924")]


def code_at(secret, now=NOW):
    return pyotp.TOTP(secret).at(now)


def begin(api, password=PASSWORD):
    return api.post("/api/v1/me/second-factor", {"current_password": password})


def confirm(api, code):
    return api.post("/api/v1/me/second-factor/confirmation", {"code": code})


def sign_in(account, **more):
    body = {"email": account.email, "password": PASSWORD, "device_name": "phone"} | more
    return APIClient().post("/api/v1/sign-in", body)


@pytest.fixture
def at_now():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def factor(cast, signed_in, at_now):
    """The coach's confirmed factor: its secret and recovery codes; the code of this moment is used up."""
    api = signed_in(cast.coach)
    secret = begin(api).json()["secret"]
    return secret, confirm(api, code_at(secret)).json()["recovery_codes"]


@pytest.mark.parametrize(("second", "code"), PUBLISHED)
def test_codes_are_those_of_rfc_6238(second, code):
    seed = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # "12345678901234567890" in base 32
    assert pyotp.TOTP(seed).at(second) == code


def test_until_it_is_confirmed_sign_in_asks_for_no_code(cast, signed_in, at_now):
    begin(signed_in(cast.coach))
    assert sign_in(cast.coach.account).status_code == 200


def test_with_it_the_password_alone_is_not_enough(cast, factor):
    needed = sign_in(cast.coach.account)
    assert (needed.status_code, needed.json()["type"]) == (401, "/problems/second_factor_needed")
    assert sign_in(cast.coach.account, password="not-it").json()["type"] == "/problems/sign_in_refused"


def test_the_next_code_lets_in_and_only_once(cast, factor):
    secret, _ = factor
    later = NOW + timedelta(seconds=30)
    with time_machine.travel(later, tick=False):
        assert sign_in(cast.coach.account, code=code_at(secret, later)).status_code == 200
        assert sign_in(cast.coach.account, code=code_at(secret, later)).status_code == 401
    assert sign_in(cast.coach.account, code=code_at(secret)).status_code == 401


@pytest.mark.parametrize(("late_s", "status"), [(-60, 401), (-30, 200), (30, 200), (90, 401)])
def test_a_clock_may_be_half_a_minute_off(cast, factor, late_s, status):
    secret, _ = factor
    moment = NOW + timedelta(minutes=10)
    with time_machine.travel(moment, tick=False):
        code = code_at(secret, moment + timedelta(seconds=late_s))
        assert sign_in(cast.coach.account, code=code).status_code == status


def test_each_recovery_code_lets_in_once(cast, factor):
    _, codes = factor
    assert len(set(codes)) == 10
    assert sign_in(cast.coach.account, code=f" {codes[0].upper()} ").status_code == 200
    assert sign_in(cast.coach.account, code=codes[0]).status_code == 401
    assert sign_in(cast.coach.account, code=codes[1]).status_code == 200


def test_wrong_codes_count_as_failures_of_the_account(cast, factor):
    statuses = [sign_in(cast.coach.account, code="000000").status_code for _ in range(11)]
    assert statuses == [401] * 10 + [429]


def test_a_missing_code_counts_as_no_failure(cast, factor):
    statuses = {sign_in(cast.coach.account).status_code for _ in range(12)}
    assert statuses == {401}


def test_setting_it_up_needs_the_password_and_the_right_code(cast, signed_in, at_now):
    api = signed_in(cast.coach)
    refused = begin(api, "not-the-password")
    assert refused.json()["errors"][0]["pointer"] == "/current_password"
    begin(api)
    assert confirm(api, "000000").json()["errors"][0]["pointer"] == "/code"
    assert not SecondFactor.objects.get().confirmed_at


def test_a_second_one_is_refused_and_nothing_to_confirm_as_well(cast, signed_in, factor):
    api = signed_in(cast.coach)
    assert begin(api).status_code == 409
    assert confirm(api, "123456").status_code == 409


def test_it_is_removed_with_password_and_code(cast, signed_in, factor):
    api, (_, codes) = signed_in(cast.coach), factor
    wrong = {"current_password": PASSWORD, "code": "000000"}
    assert api.post("/api/v1/me/second-factor/removal", wrong).status_code == 422
    right = {"current_password": PASSWORD, "code": codes[3]}
    assert api.post("/api/v1/me/second-factor/removal", right).status_code == 204
    assert sign_in(cast.coach.account).status_code == 200
    assert api.post("/api/v1/me/second-factor/removal", right).status_code == 409
    actions = AuditEvent.objects.filter(action__contains="second_factor").order_by("id")
    assert [event.action for event in actions] == ["add_second_factor", "remove_second_factor"]


def test_me_says_whether_there_is_one(cast, signed_in, factor):
    assert signed_in(cast.coach).get("/api/v1/me").json()["account"]["has_second_factor"] is True
    assert signed_in(cast.client).get("/api/v1/me").json()["account"]["has_second_factor"] is False


def test_neither_secret_nor_recovery_codes_lie_in_the_row(cast, factor):
    secret, codes = factor
    row = SecondFactor.objects.get()
    assert secret not in row.secret_sealed
    assert not set(codes) & set(row.recovery_digests)


def test_it_holds_over_a_change_of_the_services_secret(cast, factor, settings):
    secret, _ = factor
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "a-new-invented-secret-that-is-long-enough-0123456789-abc"
    later = NOW + timedelta(minutes=1)
    with time_machine.travel(later, tick=False):
        assert sign_in(cast.coach.account, code=code_at(secret, later)).status_code == 200


def test_once_the_earlier_secret_is_gone_a_recovery_code_still_lets_in(cast, factor, settings):
    secret, codes = factor
    settings.SECRET_KEY = "a-new-invented-secret-that-is-long-enough-0123456789-abc"
    later = NOW + timedelta(minutes=1)
    with time_machine.travel(later, tick=False):
        assert sign_in(cast.coach.account, code=code_at(secret, later)).status_code == 401
        assert sign_in(cast.coach.account, code=codes[0]).status_code == 200
