"""Invitations over HTTP: who may invite whom, and a link that works once."""

from datetime import timedelta

import pytest
import time_machine
from django.core import mail
from django.utils import timezone
from rest_framework.test import APIClient

from coaching.budget import Budget
from coaching.emails import send_due_mail
from coaching.models import Account, AuditEvent, Client, DeviceToken, Invitation, MailRow, Membership
from tests.factories import NOW, PASSWORD, ClientFactory

EMAIL = "newcomer@example.org"
ACCEPT = {"name": "Nia Newcomer", "password": "lantern-horse-staple", "device_name": "phone"}


@pytest.fixture
def newcomer(cast) -> Client:
    return ClientFactory(coach=cast.coach, account=None, name="Nia Newcomer")


def invite(api, **body):
    return api.post("/api/v1/invitations", {"email": EMAIL} | body)


def accept(token, **body):
    return APIClient().post("/api/v1/invitations/accept", ACCEPT | {"token": token} | body)


def coach_token(cast, signed_in, email=EMAIL):
    return invite(signed_in(cast.owner), role="coach", email=email).json()["token"]


def test_the_owner_invites_a_coach(cast, signed_in):
    answer = invite(signed_in(cast.owner), role="coach")
    body = answer.json()
    assert answer.status_code == 201
    assert set(body) == {"id", "role", "email", "client", "expires_at", "token"}
    assert (body["role"], body["email"], body["client"]) == ("coach", EMAIL, None)


def test_the_token_is_kept_as_a_digest_only_and_no_mail_row_holds_it(cast, signed_in):
    token = coach_token(cast, signed_in)
    row = Invitation.objects.values().get()
    assert token not in str(row)
    assert len(row["token_digest"]) == 64
    assert token not in str(MailRow.objects.values().get())
    assert token not in str(list(AuditEvent.objects.values()))


def test_the_mail_carries_the_token_that_was_answered(cast, signed_in, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    settings.INVITATION_URL = "https://app.example/come-in"
    token = coach_token(cast, signed_in)
    send_due_mail(now=timezone.now(), budget=Budget.of(10))
    (message,) = mail.outbox
    assert f"https://app.example/come-in#token={token}" in message.body
    assert (message.to, message.subject) == ([Invitation.objects.get().email], "You are invited")
    assert "Olga Owner invites you to Harbour Strength as a coach." in message.body


def test_the_mail_tells_the_token_itself_where_there_is_no_page(cast, signed_in, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    token = coach_token(cast, signed_in)
    send_due_mail(now=timezone.now(), budget=Budget.of(10))
    assert token in mail.outbox[0].body
    assert token in mail.outbox[0].alternatives[0].content


def test_an_invitation_that_was_replaced_meanwhile_is_not_mailed(cast, signed_in, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    coach_token(cast, signed_in)
    second = coach_token(cast, signed_in)
    send_due_mail(now=timezone.now(), budget=Budget.of(10))
    (message,) = mail.outbox
    assert second in message.body


def test_a_practice_cannot_write_to_strangers_without_end(cast, signed_in, monkeypatch):
    monkeypatch.setattr("coaching.operations.invitations.PER_PRACTICE_A_DAY", 1)
    coach_token(cast, signed_in)
    body = {"role": "coach", "email": "another@example.org"}
    refused = signed_in(cast.owner).post("/api/v1/invitations", body)
    assert (refused.status_code, refused["Retry-After"]) == (429, "3600")


def test_an_invited_coach_comes_in(cast, signed_in):
    answer = accept(coach_token(cast, signed_in))
    assert answer.status_code == 201
    member = Membership.objects.get(account__email=EMAIL)
    assert (member.practice, member.role) == (cast.practice, "coach")
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {answer.json()['token']}")
    assert api.get("/api/v1/me").json()["account"]["name"] == "Nia Newcomer"


def test_an_invited_client_comes_in_as_that_client(cast, signed_in, newcomer):
    token = invite(signed_in(cast.coach), role="client", client=str(newcomer.uid)).json()["token"]
    assert accept(token).json()["me"]["client"] == str(newcomer.uid)
    newcomer.refresh_from_db()
    assert newcomer.account.email == EMAIL


def test_an_invited_client_needs_no_name(cast, signed_in, newcomer):
    token = invite(signed_in(cast.coach), role="client", client=str(newcomer.uid)).json()["token"]
    body = {key: value for key, value in ACCEPT.items() if key != "name"}
    answer = APIClient().post("/api/v1/invitations/accept", body | {"token": token})
    assert answer.json()["me"]["account"]["name"] == "Nia Newcomer"


def test_a_link_works_once(cast, signed_in):
    token = coach_token(cast, signed_in)
    accept(token)
    answer = accept(token)
    assert answer.status_code == 400
    assert answer.json()["type"] == "/problems/link_invalid"
    assert DeviceToken.objects.filter(user__email=EMAIL).count() == 1


def test_used_unknown_and_too_old_links_get_one_answer(cast, signed_in):
    with time_machine.travel(NOW, tick=False):
        old = coach_token(cast, signed_in)
    with time_machine.travel(NOW + timedelta(days=7), tick=False):
        assert accept(old).content == accept("unknown").content
        assert not Account.objects.filter(email=EMAIL).exists()


def test_a_link_works_until_the_last_second_of_seven_days(cast, signed_in):
    with time_machine.travel(NOW, tick=False) as clock:
        token = coach_token(cast, signed_in)
        clock.shift(timedelta(days=7) - timedelta(seconds=1))
        assert accept(token).status_code == 201


def test_a_second_invitation_ends_the_first(cast, signed_in):
    first = coach_token(cast, signed_in)
    second = coach_token(cast, signed_in, email=EMAIL.upper())
    assert accept(first).status_code == 400
    assert accept(second).status_code == 201


def test_an_existing_account_joins_with_its_password_and_stays_one(cast, signed_in):
    email = cast.stranger.account.email
    token = coach_token(cast, signed_in, email=email.upper())
    refused = accept(token)
    assert refused.status_code == 401
    assert accept(token, password=PASSWORD).status_code == 201
    assert Account.objects.filter(email__iexact=email).count() == 1
    assert Membership.objects.filter(account=cast.stranger.account).count() == 2


def test_guessing_through_a_link_is_limited_like_a_sign_in(cast, signed_in):
    token = coach_token(cast, signed_in, email=cast.stranger.account.email)
    with time_machine.travel(NOW, tick=False):
        answers = [accept(token, password="not-the-password").status_code for _ in range(11)]
    assert answers == [401] * 10 + [429]


def test_a_weak_password_leaves_the_link_usable(cast, signed_in):
    token = coach_token(cast, signed_in)
    answer = accept(token, password="short")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/password"
    assert accept(token).status_code == 201


def test_a_new_coach_must_say_their_name(cast, signed_in):
    body = {key: value for key, value in ACCEPT.items() if key != "name"}
    answer = APIClient().post("/api/v1/invitations/accept", body | {"token": coach_token(cast, signed_in)})
    assert answer.json()["errors"][0]["pointer"] == "/name"


def test_an_account_is_one_thing_in_a_practice(cast, signed_in, newcomer):
    token = invite(
        signed_in(cast.coach), role="client", client=str(newcomer.uid), email=cast.colleague.account.email
    ).json()["token"]
    assert accept(token, password=PASSWORD).status_code == 409
    assert Invitation.objects.get().accepted_at is None


def test_an_archived_client_cannot_come_in(cast, signed_in, newcomer):
    token = invite(signed_in(cast.coach), role="client", client=str(newcomer.uid)).json()["token"]
    Client.objects.filter(id=newcomer.id).update(archived_at=NOW)
    assert accept(token).status_code == 400


def test_a_coach_cannot_invite_a_coach(cast, signed_in):
    assert invite(signed_in(cast.coach), role="coach").status_code == 403


def test_a_client_cannot_invite(cast, signed_in, newcomer):
    answer = invite(signed_in(cast.client), role="client", client=str(newcomer.uid))
    assert answer.status_code == 403


def test_the_owner_may_invite_any_client(cast, signed_in, newcomer):
    answer = invite(signed_in(cast.owner), role="client", client=str(newcomer.uid))
    assert answer.status_code == 201


@pytest.mark.parametrize("who", ["colleague", "stranger"])
def test_others_do_not_find_the_client_to_invite(cast, signed_in, newcomer, who):
    answer = invite(signed_in(getattr(cast, who)), role="client", client=str(newcomer.uid))
    assert answer.status_code == 404


def test_a_colleague_who_sees_all_clients_still_does_not_invite_them(cast, signed_in, newcomer):
    cast.practice.coaches_see_all_clients = True
    cast.practice.save()
    answer = invite(signed_in(cast.colleague), role="client", client=str(newcomer.uid))
    assert answer.status_code == 403


def test_who_is_there_already_is_not_invited_again(cast, signed_in):
    owner = signed_in(cast.owner)
    member = invite(owner, role="coach", email=cast.coach.account.email.upper())
    client = invite(owner, role="client", client=str(cast.client.uid))
    assert (member.status_code, client.status_code) == (409, 409)


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"role": "owner"}, "/role"),
        ({"role": "coach", "email": "no address"}, "/email"),
        ({"role": "coach", "email": "ſam@example.org"}, "/email"),
        ({"role": "client"}, "/client"),
        ({"role": "coach", "client": "11111111-1111-4111-8111-111111111111"}, "/client"),
        ({"role": "coach", "expires_at": "2030-01-01"}, "/expires_at"),
    ],
)
def test_a_bad_invitation_is_422_at_its_field(cast, signed_in, body, pointer):
    answer = invite(signed_in(cast.owner), **body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert not Invitation.objects.exists()
