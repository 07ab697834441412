"""Words planted in every request, and in what fails meanwhile, stand in no log line, error or mail header."""

import contextlib
import io
import json
import logging
import smtplib
import uuid
from collections.abc import Iterator
from email import message_from_bytes

import pytest
from django.db import connection
from rest_framework import serializers
from rest_framework.test import APIClient

from api.fields import TextField
from coaching.budget import Budget
from coaching.logs import line_formatter
from coaching.models import MailRow, Practice
from coaching.tasks import run_tick
from coaching.tick import tick
from tests.api.test_hostile_inputs import ALL_ROUTES, World
from tests.bodies import pain_body, session_body
from tests.factories import NOW, PASSWORD, WebhookFactory
from tests.loopback import answer as answer_of
from tests.loopback import listening

WORD = "quillwort"
ADDRESS = f"{WORD}@{WORD}.example"
FORGED = f'{WORD}\r\n{{"event": "forged"}}'
REFUSED_ROW = f"""
    CREATE TRIGGER refused BEFORE INSERT ON coaching_session
    BEGIN SELECT RAISE(ABORT, 'constraint failed: {WORD}'); END"""


def refused_with_the_word(execute, sql, params, many, context):
    """The role of the service may hang no trigger on a table of PostgreSQL; this makes it say the word."""
    if 'INTO "coaching_session"' in sql:
        return execute("SELECT CAST(%s AS integer)", [WORD], many, context)
    return execute(sql, params, many, context)


@contextlib.contextmanager
def refusing_sessions() -> Iterator[None]:
    if connection.vendor == "postgresql":
        with connection.execute_wrapper(refused_with_the_word):
            yield
        return
    with connection.cursor() as cursor:
        cursor.execute(REFUSED_ROW)
    yield


@pytest.fixture
def logged() -> Iterator[io.StringIO]:
    """Every line of every logger, from DEBUG on, as the processes write them."""
    sink, root = io.StringIO(), logging.getLogger()
    handler, level = logging.StreamHandler(sink), root.level
    handler.setFormatter(line_formatter())
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    yield sink
    root.removeHandler(handler)
    root.setLevel(level)


@pytest.fixture
def world(cast, signed_in, time_machine, settings):
    settings.WEBHOOK_TEST_ADDRESSES = ["http://127.0.0.1:9"]
    settings.EMAIL_BACKEND = "coaching.outbox.EmlFileBackend"
    time_machine.move_to("2026-03-02T20:00:00Z", tick=False)
    return World(cast, signed_in)


def planted(logged: io.StringIO) -> list[str]:
    """The lines that say too much, or that are no line of ours."""
    lines = logged.getvalue().splitlines()
    assert all(json.loads(line)["event"] != "forged" for line in lines)
    return [line for line in lines if WORD in line.lower()]


def texts_of(serializer: type[serializers.Serializer]) -> list[str]:
    return [name for name, field in serializer().fields.items() if isinstance(field, TextField)]


def with_word(value):
    """The body with the word in place of each text, one at a time; the rest stands."""
    if isinstance(value, dict):
        for key in value:
            yield from (value | {key: other} for other in with_word(value[key]))
    elif isinstance(value, list):
        for place, item in enumerate(value):
            yield from ([*value[:place], other, *value[place + 1 :]] for other in with_word(item))
    elif isinstance(value, str):
        yield WORD
        yield FORGED
        yield ADDRESS


@pytest.mark.parametrize("name", ALL_ROUTES)
def test_no_body_is_logged_whether_it_is_accepted_or_not(world, logged, name):
    route = ALL_ROUTES[name]
    api = world.sign(getattr(world.cast, route.who))
    body = route.body(world)
    bodies = [*with_word(body), body | {WORD: WORD}]
    bodies += [body | {key: f"{WORD} said"} for key in texts_of(route.serializer)]
    sent = [json.dumps(each) for each in bodies] + [f'{{"{WORD}": ', f'"{WORD}"', f"{WORD}\x00"]
    headers = {} if route.if_match is None else {"If-Match": route.if_match}
    for text in sent:
        answer = getattr(api, route.method)(
            route.address(world), text, content_type="application/json", headers=headers
        )
        assert answer.status_code < 500, text
    assert planted(logged) == []


@pytest.mark.parametrize(
    "headers",
    [
        {"User-Agent": FORGED},
        {"Authorization": f"Bearer {WORD}"},
        {"Authorization": f"Basic {WORD}"},
        {"Authorization": FORGED},
        {"If-Match": f'"{WORD}"'},
        {"If-None-Match": WORD},
        {"Accept": WORD},
        {"Accept-Language": WORD},
        {"Content-Type": f"text/{WORD}"},
        {"Content-Encoding": WORD},
        {"Host": f"{WORD}.example"},
        {"Origin": f"https://{WORD}.example"},
        {"Referer": f"https://{WORD}.example"},
        {"X-Forwarded-For": WORD},
        {"X-Request-Id": WORD},
        {"Cookie": f"{WORD}={WORD}"},
    ],
    ids=str,
)
def test_no_header_is_logged(world, logged, headers):
    api = world.sign(world.cast.coach)
    for method, address in (("get", world.client), ("patch", world.client), ("post", "/api/v1/sign-in")):
        getattr(api, method)(address, {"name": "Nora New"}, format="json", headers=headers)
    assert planted(logged) == []


def test_no_address_and_no_query_is_logged(world, logged):
    api = world.sign(world.cast.coach)
    for path in (
        f"/api/v1/clients?archived={WORD}",
        f"/api/v1/clients?cursor={WORD}&{WORD}={WORD}",
        f"/api/v1/clients/{WORD}",
        f"/api/v1/exercises/{WORD}",
        f"{world.client}/sites/{WORD}/{WORD}/picture.svg",
        f"{world.client}/audit?kind={WORD}",
        f"/api/v1/calendar/{WORD}.ics",
        f"/{WORD}%0d%0aforged",
        f"/static/{WORD}",
    ):
        assert api.get(path).status_code < 500
    assert planted(logged) == []


def test_no_address_of_a_person_is_logged_at_the_doors(world, logged):
    api = APIClient()
    for email in (ADDRESS, f"{WORD}", f"{ADDRESS}\r\nBcc: {ADDRESS}", world.cast.coach.account.email):
        api.post("/api/v1/sign-in", {"email": email, "password": WORD, "device_name": WORD})
        api.post("/api/v1/password-resets", {"email": email})
        world.sign(world.cast.owner).post("/api/v1/invitations", {"role": "coach", "email": email})
    for _ in range(12):
        api.post("/api/v1/sign-in", {"email": ADDRESS, "password": WORD, "device_name": WORD})
    api.post("/api/v1/invitations/accept", {"token": f"fbrinv_{WORD}", "name": WORD, "password": WORD})
    api.post("/api/v1/password-resets/accept", {"token": WORD, "new_password": f"{WORD}-{WORD}"})
    tick(now=NOW, budget=Budget.of(20))
    said = logged.getvalue()
    assert planted(logged) == []
    assert world.cast.coach.account.email not in said and PASSWORD not in said


def test_who_is_not_let_in_is_told_by_route_account_and_device(world, logged):
    api = world.sign(world.cast.stranger)
    for address in (world.client, f"/{WORD}"):
        assert api.get(address).status_code == 404
    assert world.sign(world.cast.client).get("/api/v1/webhooks").status_code == 403
    assert APIClient().get(world.client).status_code == 401
    lines = [json.loads(line) for line in logged.getvalue().splitlines()]
    told = [
        (line["status"], line["method"], line["route"], line["account"])
        for line in lines
        if line["event"] == "refused"
    ]
    assert told == [
        (404, "GET", "api/v1/clients/<uuid:client_id>", str(world.cast.stranger.account_id)),
        (404, "GET", None, None),
        (403, "GET", "api/v1/webhooks", str(world.cast.client.account_id)),
        (401, "GET", "api/v1/clients/<uuid:client_id>", None),
    ]
    assert str(world.cast.client.uid) not in logged.getvalue()


def post_session(world):
    return world.sign(world.cast.client).put(
        f"/api/v1/sessions/{uuid.uuid4()}", session_body(note=WORD), format="json"
    )


def test_what_the_database_says_of_a_row_stays_out_of_log_and_answer(world, logged):
    with refusing_sessions():
        answer = post_session(world)
    assert answer.status_code == (500 if connection.vendor == "postgresql" else 409)
    assert WORD not in answer.content.decode()
    assert planted(logged) == []


@pytest.mark.parametrize("place", ["coaching.operations.sessions.note_post", "api.sessions.session_entry"])
@pytest.mark.parametrize("error", [ValueError, RuntimeError, KeyError, UnicodeError])
def test_what_an_exception_says_stays_out_of_log_and_answer(world, logged, monkeypatch, place, error):
    def fail(*args, **more):
        raise error(f"{FORGED} {args} {more}") from ValueError(WORD)

    monkeypatch.setattr(place, fail)
    answer = post_session(world)
    assert (answer.status_code, WORD in answer.content.decode()) == (500, False)
    assert planted(logged) == []
    failed = [json.loads(line) for line in logged.getvalue().splitlines() if "request_failed" in line]
    assert [(line["error"], line["route"]) for line in failed] == [
        (error.__name__, "api/v1/sessions/<made:session_id>")
    ]


def say_everything(world):
    """Health data under every text field, a red flag, and mails and deliveries that tell of it."""
    for model, field in ((world.cast.client, "name"), (world.cast.practice, "name")):
        setattr(model, field, f"{WORD} {field}")
        model.save()
    body = pain_body(symptoms={"night_pain": "yes"}, pain=9, note=WORD)
    answer = world.sign(world.cast.client).put(f"/api/v1/pain-reports/{uuid.uuid4()}", body, format="json")
    assert answer.status_code == 201, answer.content
    world.sign(world.cast.owner).post("/api/v1/invitations", {"role": "coach", "email": ADDRESS})
    APIClient().post("/api/v1/password-resets", {"email": world.cast.coach.account.email})
    assert MailRow.objects.count() >= 3


FAILURES = [
    smtplib.SMTPRecipientsRefused({ADDRESS: (550, WORD.encode())}),
    smtplib.SMTPDataError(451, WORD.encode()),
    smtplib.SMTPAuthenticationError(535, WORD.encode()),
    smtplib.SMTPServerDisconnected(WORD),
    OSError(111, WORD),
    ValueError(FORGED),
]


@pytest.mark.parametrize("failure", FAILURES, ids=lambda each: type(each).__name__)
def test_what_a_mail_server_says_is_not_logged(world, logged, monkeypatch, failure):
    def fail(*args, **more):
        raise failure

    say_everything(world)
    monkeypatch.setattr("coaching.outbox.EmlFileBackend.send_messages", fail)
    tick(now=NOW.replace(hour=20), budget=Budget.of(20))
    assert "mail_failed" in logged.getvalue() or "mail_server_refuses" in logged.getvalue()
    assert planted(logged) == []


@pytest.mark.parametrize("body", [WORD.encode(), FORGED.encode()])
@pytest.mark.parametrize("status", [302, 410, 500])
def test_what_a_webhook_answers_is_not_logged(world, logged, settings, status, body):
    with listening() as peer:
        settings.WEBHOOK_TEST_ADDRESSES = [peer.origin]
        peer.says(answer_of(status, f"Location: http://{WORD}.example", f"X-Any: {WORD}", body=body))
        WebhookFactory(practice=world.cast.practice, address=f"{peer.origin}/{WORD}?{WORD}")
        say_everything(world)
        tick(now=NOW.replace(hour=20), budget=Budget.of(20))
        assert peer.hits >= 1
    assert "webhook_failed" in logged.getvalue()
    assert planted(logged) == []


@pytest.mark.parametrize("place", ["coaching.nightly.score_chunk", "coaching.nightly.nights.claim_chunk"])
def test_what_a_night_fails_of_is_not_logged(world, logged, monkeypatch, time_machine, place):
    def fail(*args, **more):
        raise ValueError(f"{FORGED} {args} {more}")

    say_everything(world)
    monkeypatch.setattr(place, fail)
    time_machine.move_to("2026-03-03T06:00:00Z", tick=False)
    with contextlib.suppress(ValueError):
        run_tick.apply()
    assert planted(logged) == []


def test_a_night_and_its_mails_say_nothing_in_lines_subjects_and_headers(
    world, logged, time_machine, settings
):
    say_everything(world)
    WebhookFactory(practice=world.cast.practice, address=f"http://127.0.0.1:9/{WORD}")
    Practice.objects.update(night_hour=2)
    for at in ("2026-03-02T20:00:00Z", "2026-03-03T06:00:00Z", "2026-03-03T12:00:00Z"):
        time_machine.move_to(at, tick=False)
        run_tick.apply()
    assert planted(logged) == []
    mails = [message_from_bytes(path.read_bytes()) for path in settings.OUTBOX_DIR.glob("*.eml")]
    assert len(mails) >= 4
    for mail in mails:
        said = {name: value for name, value in mail.items() if name.lower() != "to"}
        assert WORD not in str(said)
        for part in ("knee", "pain", "injur", "mira", "alert"):
            assert part not in mail["Subject"].lower()
