"""Headers that keep a browser from running, framing or sharing answers; no plain http in production."""

import pytest
from django.test import override_settings

ORIGIN = "https://dashboard.example"
ANSWERS = [
    ("get", "/healthz", 200),
    ("get", "/nothing-here", 404),
    ("get", "/api/v1/me", 200),
    ("get", "/api/v1/clients/0", 404),
    ("post", "/api/v1/me", 405),
    ("get", "/api/v1/docs", 200),
    ("get", "/api/v1/schema", 200),
]


@pytest.mark.parametrize(("method", "address", "status"), ANSWERS)
def test_every_answer_tells_a_browser_to_run_frame_and_guess_nothing(
    cast, signed_in, method, address, status
):
    answer = getattr(signed_in(cast.coach), method)(address)
    assert answer.status_code == status
    policy = answer["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert "frame-ancestors 'none'" in policy
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer["Cache-Control"]


def test_the_docs_page_runs_its_own_files_and_no_script_written_into_it(client):
    page = client.get("/api/v1/docs")
    assert "script-src 'self';" in page["Content-Security-Policy"]
    assert b"<script>" not in page.content
    script = client.get("/api/v1/docs?script=")
    assert script["Content-Type"].startswith("application/javascript")
    assert b"SwaggerUIBundle" in script.content


def test_no_other_origin_may_read_answers_by_default(cast, signed_in):
    asked = signed_in(cast.coach).get("/api/v1/me", headers={"Origin": ORIGIN})
    assert not [name for name in asked.headers if name.lower().startswith("access-control")]


@override_settings(CORS_ALLOWED_ORIGINS=[ORIGIN])
def test_an_origin_that_the_operator_names_may_and_never_with_cookies(cast, signed_in):
    caller = signed_in(cast.coach)
    answer = caller.get("/api/v1/me", headers={"Origin": ORIGIN})
    assert answer["Access-Control-Allow-Origin"] == ORIGIN
    assert "etag" in answer["Access-Control-Expose-Headers"].lower()
    assert "Access-Control-Allow-Credentials" not in answer
    other = caller.get("/api/v1/me", headers={"Origin": "https://elsewhere.example"})
    assert "Access-Control-Allow-Origin" not in other


@override_settings(PRODUCTION=True)
def test_plain_http_is_refused_in_production_without_looking_at_the_token(cast, signed_in):
    refused = signed_in(cast.coach).get("/api/v1/me")
    assert refused.status_code == 403
    assert refused.json()["type"] == "/problems/https_required"
    assert "Location" not in refused


@override_settings(PRODUCTION=True, SECURE_HSTS_SECONDS=3600)
def test_https_is_answered_in_production_with_hsts(cast, signed_in):
    answer = signed_in(cast.coach).get("/api/v1/me", secure=True)
    assert answer.status_code == 200
    assert answer["Strict-Transport-Security"] == "max-age=3600"


@override_settings(PRODUCTION=True)
@pytest.mark.django_db
def test_what_watches_the_service_asks_from_inside_over_plain_http(client):
    assert client.get("/healthz").status_code == 200
    assert client.get("/readyz").status_code == 200


def test_a_mark_of_the_feed_holds_over_a_change_of_the_secret(cast, signed_in, settings):
    caller = signed_in(cast.coach)
    mark = caller.get("/api/v1/changes").json()["mark"]
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "a-new-invented-secret-that-is-long-enough-0123456789-abc"
    assert caller.get("/api/v1/changes", {"since": mark}).status_code == 200
