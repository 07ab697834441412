"""A forgotten password, from the mail to the new sign-in; and what nobody may learn or do with it."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from coaching.budget import Budget
from coaching.emails import send_due_mail
from coaching.models import Account, AuditEvent, DeviceToken, MailRow, SignInFailures
from tests.factories import NOW, PASSWORD, AccountFactory

NEW_PASSWORD = "staple-horse-lantern"
TOKEN = re.compile(r"fbrreset_[\w-]+")


@pytest.fixture(autouse=True)
def mail_in_memory(settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"


def ask(email, address="192.0.2.1"):
    return APIClient().post("/api/v1/password-resets", {"email": email}, REMOTE_ADDR=address)


def accept(token, password=NEW_PASSWORD):
    body = {"token": token, "new_password": password}
    return APIClient().post("/api/v1/password-resets/accept", body)


def sign_in(email, password):
    body = {"email": email, "password": password, "device_name": "phone"}
    return APIClient().post("/api/v1/sign-in", body)


def mailed_token(now=NOW):
    send_due_mail(now=now, budget=Budget.of(10))
    return TOKEN.search(mail.outbox[-1].body).group()


def test_the_mailed_link_sets_a_new_password_and_ends_every_device(cast, signed_in):
    email, phone = cast.client.account.email, signed_in(cast.client)
    with time_machine.travel(NOW, tick=False):
        assert ask(email).status_code == 202
        token = mailed_token()
        assert accept(token).status_code == 204
        assert phone.get("/api/v1/me").status_code == 401
        assert sign_in(email, PASSWORD).status_code == 401
        assert sign_in(email, NEW_PASSWORD).status_code == 200
    event = AuditEvent.objects.get(action="reset_password")
    assert (event.practice_id, event.account_id) == (cast.practice.id, None)


def test_the_link_works_once(cast):
    with time_machine.travel(NOW, tick=False):
        ask(cast.coach.account.email)
        token = mailed_token()
        assert accept(token).status_code == 204
        again = accept(token, "another-long-password")
    assert (again.status_code, again.json()["type"]) == (400, "/problems/link_invalid")


def test_the_link_lasts_ten_minutes(cast):
    with time_machine.travel(NOW, tick=False):
        ask(cast.coach.account.email)
        token = mailed_token()
    with time_machine.travel(NOW + timedelta(minutes=10, seconds=1), tick=False):
        assert accept(token).status_code == 400
    with time_machine.travel(NOW + timedelta(minutes=9, seconds=59), tick=False):
        assert accept(token).status_code == 204


def test_a_mail_that_could_not_go_out_in_time_is_not_sent_with_a_dead_link(cast):
    with time_machine.travel(NOW, tick=False):
        ask(cast.coach.account.email)
    send_due_mail(now=NOW + timedelta(minutes=11), budget=Budget.of(10))
    assert mail.outbox == []
    assert MailRow.objects.get().error_code == "reset_passed"


def test_a_weak_password_is_refused_at_its_field_and_the_link_still_works(cast):
    with time_machine.travel(NOW, tick=False):
        ask(cast.coach.account.email)
        token = mailed_token()
        refused = accept(token, "short")
        assert refused.status_code == 422
        assert refused.json()["errors"][0]["pointer"] == "/new_password"
        assert accept(token).status_code == 204


def test_of_an_unknown_address_the_answer_is_the_same_and_nothing_is_mailed(cast):
    known, unknown = ask(cast.coach.account.email), ask("nobody@example.org")
    assert (known.status_code, known.content) == (unknown.status_code, unknown.content)
    assert MailRow.objects.count() == 1


def statements_of(email):
    with CaptureQueriesContext(connection) as captured:
        assert ask(email).status_code == 202
    return [re.match(r"\W*(\w+)", row["sql"])[1] for row in captured]


def test_known_and_unknown_addresses_cost_the_same_kinds_of_statements(cast):
    known, unknown = (statements_of(email) for email in (cast.coach.account.email, "nobody@example.org"))
    assert known == unknown and known.count("INSERT") == 2


def test_what_is_written_for_nobody_is_once_in_ten_minutes_and_names_nobody(db):
    with time_machine.travel(NOW, tick=False):
        for number in range(3):
            ask("nobody@example.org", address=f"192.0.2.{number}")
    rows = SignInFailures.objects.filter(failures=0)
    assert rows.count() == 1 and "nobody@" not in repr(rows.values_list())


@pytest.mark.parametrize("state", ["inactive", "left", "without a place"])
def test_who_could_not_sign_in_gets_no_link(cast, state):
    account = cast.coach.account
    if state == "inactive":
        Account.objects.filter(id=account.id).update(is_active=False)
    elif state == "left":
        cast.coach.left_at = NOW
        cast.coach.save()
    else:
        account = AccountFactory()
    assert ask(account.email).status_code == 202
    assert not MailRow.objects.exists()


def test_many_requests_make_one_mail_in_ten_minutes(cast):
    with time_machine.travel(NOW, tick=False):
        for _ in range(5):
            ask(cast.coach.account.email)
    assert MailRow.objects.count() == 1


def test_one_address_cannot_ask_without_end(cast):
    with time_machine.travel(NOW, tick=False):
        answers = [ask(f"x{number}@example.org") for number in range(21)]
    assert [answer.status_code for answer in answers] == [202] * 20 + [429]
    assert int(answers[-1]["Retry-After"]) > 0


def test_the_row_and_the_subject_hold_no_token_and_no_name(cast):
    with time_machine.travel(NOW, tick=False):
        ask(cast.client.account.email)
        token = mailed_token()
    row = MailRow.objects.get()
    assert row.payload == {"account": str(cast.client.account_id)}
    assert token not in row.key
    assert mail.outbox[0].subject == "A new password"


def test_a_page_of_the_front_end_gets_the_token_behind_the_hash(cast, settings):
    settings.PASSWORD_RESET_URL = "https://app.example/new-password"
    with time_machine.travel(NOW, tick=False):
        ask(cast.client.account.email)
        token = mailed_token()
    assert f"https://app.example/new-password#token={token}" in mail.outbox[0].body


def test_a_link_of_one_account_opens_no_other(cast):
    with time_machine.travel(NOW, tick=False):
        ask(cast.coach.account.email)
        token = mailed_token()
        forged = token.replace(cast.coach.account_id.hex, cast.client.account_id.hex)
        assert accept(forged).status_code == 400
    assert sign_in(cast.client.account.email, PASSWORD).status_code == 200


@pytest.mark.parametrize("token", ["x", "fbrreset_", "fbrreset_zz_1-2", "fbrreset_" + "0" * 32 + "_1-2"])
def test_a_made_up_link_is_refused(db, token):
    assert accept(token).status_code == 400


def test_a_reset_lets_in_an_account_whose_tries_strangers_have_used_up(cast):
    email = cast.client.account.email
    with time_machine.travel(NOW, tick=False):
        for _ in range(10):
            sign_in(email, "not-the-password")
        assert sign_in(email, PASSWORD).status_code == 429
        ask(email)
        accept(mailed_token())
        assert sign_in(email, NEW_PASSWORD).status_code == 200
    assert DeviceToken.objects.filter(user=cast.client.account).count() == 1
