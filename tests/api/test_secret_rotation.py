"""A new secret with the earlier one as a fallback signs nobody out and ends nothing that is under way."""

import re

import pytest
from django.test import Client as Browser

from coaching.budget import Budget
from coaching.emails import send_due_mail
from coaching.models import ServiceScope
from tests.api.every_route import service_token
from tests.api.test_service_tokens import program
from tests.factories import NOW, PASSWORD

V1 = "/api/v1/"
NEW = "a-new-secret-of-more-than-fifty-characters-for-this-test-alone"


@pytest.fixture(autouse=True)
def monday_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def rotate(settings):
    def to_new(*, keeps_the_earlier=True):
        settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY] if keeps_the_earlier else []
        settings.SECRET_KEY = NEW

    return to_new


@pytest.mark.parametrize("keeps_the_earlier", [True, False])
def test_tokens_of_devices_services_and_calendars_hold_with_any_secret(
    cast, signed_in, rotate, keeps_the_earlier
):
    device = signed_in(cast.coach)
    service = program(service_token(cast.owner, [ServiceScope.CLIENTS_READ])[1])
    url = device.post(f"{V1}clients/{cast.client.uid}/calendar-feed").json()["url"]
    rotate(keeps_the_earlier=keeps_the_earlier)
    assert device.get(f"{V1}me").status_code == 200
    assert service.get(f"{V1}clients").status_code == 200
    assert Browser().get("/api/v1/calendar" + url.partition("/calendar")[2]).status_code == 200


@pytest.mark.parametrize(("keeps_the_earlier", "status"), [(True, 200), (False, 400)])
def test_a_mark_of_the_feed_holds_while_the_earlier_secret_is_kept(
    cast, signed_in, rotate, keeps_the_earlier, status
):
    device = signed_in(cast.coach)
    mark = device.get(f"{V1}changes").json()["mark"]
    rotate(keeps_the_earlier=keeps_the_earlier)
    assert device.get(f"{V1}changes?since={mark}").status_code == status


def token_in(mail, prefix):
    return re.search(prefix + r"[\w-]+", mail.body)[0]


def test_an_invitation_that_was_not_mailed_yet_is_mailed_and_works(
    cast, signed_in, client, rotate, mailoutbox
):
    body = {"role": "coach", "email": "nora@example.org"}
    assert signed_in(cast.owner).post(f"{V1}invitations", body, format="json").status_code == 201
    rotate()
    send_due_mail(now=NOW, budget=Budget.of(20), limit=5)
    accepted = {
        "token": token_in(mailoutbox[0], "fbrinv_"),
        "name": "Nora New",
        "password": "another-correct-horse",
        "device_name": "phone",
    }
    answer = client.post(f"{V1}invitations/accept", accepted, content_type="application/json")
    assert answer.status_code == 201


@pytest.mark.parametrize("is_mailed_before", [True, False])
def test_a_reset_link_under_way_works(cast, client, rotate, mailoutbox, is_mailed_before):
    asked = client.post(
        f"{V1}password-resets", {"email": cast.coach.account.email}, content_type="application/json"
    )
    assert asked.status_code == 202
    if is_mailed_before:
        send_due_mail(now=NOW, budget=Budget.of(20), limit=5)
    rotate()
    if not is_mailed_before:
        send_due_mail(now=NOW, budget=Budget.of(20), limit=5)
    body = {"token": token_in(mailoutbox[0], "fbrreset_"), "new_password": "another-correct-horse"}
    answer = client.post(f"{V1}password-resets/accept", body, content_type="application/json")
    assert answer.status_code == 204, answer.content


def test_a_device_proof_of_before_is_still_one(cast, client, rotate):
    body = {"email": cast.coach.account.email, "password": PASSWORD, "device_name": "phone"}
    proof = client.post(f"{V1}sign-in", body, content_type="application/json").json()["device_proof"]
    rotate()
    wrong = body | {"password": "not-the-password"}
    for _ in range(11):
        client.post(f"{V1}sign-in", wrong, content_type="application/json")
    locked = client.post(f"{V1}sign-in", body, content_type="application/json")
    known = client.post(f"{V1}sign-in", body | {"device_proof": proof}, content_type="application/json")
    assert (locked.status_code, known.status_code) == (429, 200)
