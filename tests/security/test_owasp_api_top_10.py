"""The OWASP API Security Top 10 of 2023, each item attacked once; the breadth stands in the matrix."""

import json

import pytest
from django.test import Client as Browser

from coaching.models import MailRow, Membership, Practice
from coaching.operations import invitations
from tests.api.test_hostile_inputs import nested
from tests.bodies import pain_body, session_body
from tests.factories import PASSWORD
from tests.security.calls import route_names

SIGN_IN = "/api/v1/sign-in"
SMUGGLED = {
    "X-Practice": "{practice}",
    "X-Practice-Id": "{practice}",
    "X-Forwarded-User": "{account}",
    "X-Forwarded-Host": "hillside.example.org",
    "X-Original-URL": "/api/v1/clients/{client}",
    "X-HTTP-Method-Override": "DELETE",
}


def test_api1_an_object_of_another_practice_is_not_reached_by_headers_either(cast, signed_in):
    there = {
        "practice": cast.stranger.practice.uid,
        "account": cast.stranger.account_id,
        "client": cast.strangers_client.uid,
    }
    api = signed_in(cast.coach)
    own = api.get("/api/v1/clients").json()
    for name, value in SMUGGLED.items():
        headers = {name: value.format(**there)}
        assert api.get("/api/v1/clients", headers=headers).json() == own
        assert api.get(f"/api/v1/clients/{there['client']}", headers=headers).status_code == 404
    assert api.get(f"/api/v1/clients?practice={there['practice']}").status_code == 400


def test_api2_a_token_that_is_cut_changed_or_of_another_kind_opens_nothing(cast, signed_in, client):
    whole = signed_in(cast.coach)._credentials["HTTP_AUTHORIZATION"]
    word, token = whole.split(" ")
    wrong = [token[:-1], token[:15], token.upper(), token + "a", token[::-1], "", "null", "\u00b5" * 20]
    forms = [f"{word} {each}" for each in wrong] + [f"Basic {token}", f"Token {token}", token]
    for form in forms:
        answer = client.get("/api/v1/clients", headers={"Authorization": form})
        assert answer.status_code == 401, form
    assert client.get(f"/api/v1/clients?token={token}&access_token={token}").status_code == 401


def test_api3_a_client_neither_reads_nor_writes_the_private_note(cast, signed_in):
    address, api = f"/api/v1/clients/{cast.client.uid}", signed_in(cast.client)
    assert "private_note" not in api.get(address).json()
    answer = api.patch(address, {"private_note": "x"}, format="json", headers={"If-Match": '"1"'})
    assert answer.status_code == 403
    assert (
        api.patch(address, {"role": "owner"}, format="json", headers={"If-Match": '"1"'}).status_code == 422
    )
    assert Membership.objects.filter(role="owner").count() == 2


def test_api4_what_is_too_much_is_refused_before_it_is_worked_on(cast, signed_in):
    api, batch = signed_in(cast.client), "/api/v1/sessions/batch"
    items = [session_body(id="00000000-0000-4000-8000-000000000001")] * 101
    assert api.post(batch, {"items": items}, format="json").status_code == 413
    assert api.post(batch, nested(25), format="json").status_code == 400
    large = api.generic("POST", batch, "x" * (2 * 1024 * 1024 + 1), content_type="application/json")
    assert large.status_code == 413
    packed = api.generic(
        "POST", batch, b"\x1f\x8b", content_type="application/json", headers={"Content-Encoding": "gzip"}
    )
    assert packed.status_code == 415
    assert api.get("/api/v1/clients?page_size=1000000000").status_code in (200, 400)


@pytest.mark.parametrize("who", ["client", "coach"])
def test_api5_what_is_an_owners_is_refused_to_everybody_else(cast, signed_in, who):
    api = signed_in(getattr(cast, who))
    for address in ("/api/v1/webhooks", "/api/v1/exports/sessions.csv", "/api/v1/exports/plans.csv"):
        assert api.get(address).status_code == 403
    body = {"role": "coach", "email": "friend@example.org"}
    assert api.post("/api/v1/invitations", body, format="json").status_code == 403


def test_api6_nobody_floods_strangers_with_mail(cast, signed_in, monkeypatch):
    monkeypatch.setattr(invitations, "PER_PRACTICE_A_DAY", 3)
    api = signed_in(cast.owner)
    answers = [
        api.post("/api/v1/invitations", {"role": "coach", "email": f"n{n}@example.org"}, format="json")
        for n in range(5)
    ]
    assert [answer.status_code for answer in answers] == [201, 201, 201, 429, 429]
    assert MailRow.objects.filter(kind="invitation").count() == 3


@pytest.mark.parametrize(
    "address",
    [
        "https://127.0.0.1/",
        "https://169.254.169.254/latest/meta-data/",
        "https://[::1]/",
        "https://2130706433/",
        "http://example.org/",
        "https://good@127.0.0.1/",
        "https://localhost/",
        "file:///etc/passwd",
    ],
)
def test_api7_an_address_within_our_network_is_no_webhook(cast, signed_in, address):
    body = {"address": address, "events": ["alert.opened"]}
    answer = signed_in(cast.owner).post("/api/v1/webhooks", body, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/address")


def test_api8_faults_are_problems_without_a_trace_and_are_kept_by_no_cache(cast, signed_in):
    api = signed_in(cast.coach)
    for answer in (api.get("/nowhere"), api.get("/api/v1/sign-out"), Browser().get("/api/v1/clients")):
        assert answer["Content-Type"] == "application/problem+json"
        assert answer["Cache-Control"] == "no-store"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert "Traceback" not in answer.content.decode()
    assert api.options("/api/v1/clients").status_code in (200, 405)
    assert api.generic("TRACE", "/api/v1/clients").status_code == 405


def test_api9_what_is_served_is_what_is_documented(client):
    document = json.loads(client.get("/api/v1/schema", headers={"Accept": "application/json"}).content)
    documented = {
        f"{method.upper()} {path.removeprefix('/api/v1/').replace('_id}', '}')}"
        for path, methods in document["paths"].items()
        for method in methods
    }
    beside = {"GET healthz", "GET readyz", "GET metrics", "GET schema", "GET docs", "GET problems/{code}"}
    assert documented | beside == route_names() | beside


def test_api10_a_file_of_others_is_taken_as_text_and_its_links_are_held_to_the_practice(cast, signed_in):
    api = signed_in(cast.coach)
    head = "client,performed_at,exercise,load,reps,scheduled_session"
    row = f"{cast.strangers_client.uid},2026-03-02T18:00:00Z,back_squat,100,5,"
    address = "/api/v1/imports/sessions"
    answer = api.generic("POST", address, f"{head}\n{row}\n", content_type="text/csv")
    assert answer.status_code == 422
    assert "Edda" not in answer.content.decode()


def test_a_token_that_is_revoked_ends_with_the_next_request_and_no_other_practice_has_it(cast, signed_in):
    api = signed_in(cast.coach)
    body = {"email": cast.coach.account.email, "password": PASSWORD, "device_name": "any"}
    assert api.post(SIGN_IN, body | {"practice": str(cast.stranger.practice.uid)}).status_code == 401
    assert api.post("/api/v1/sign-out").status_code == 204
    assert api.get("/api/v1/me").status_code == 401
    assert Practice.objects.count() == 2


def test_ids_of_other_kinds_and_forms_are_nothing(cast, signed_in):
    api, uid = signed_in(cast.coach), str(cast.client.uid)
    for odd in ("1", str(cast.client.id), f"{{{uid}}}", uid.replace("-", ""), f"{uid}%00", "\u0661", "../me"):
        assert api.get(f"/api/v1/clients/{odd}").status_code == 404
    body = pain_body(client=str(cast.coach.uid))
    answer = api.put("/api/v1/pain-reports/00000000-0000-4000-8000-000000000001", body, format="json")
    assert answer.status_code == 404
