"""Deliveries to a real server on loopback: what it gets, what counts as taken, and what is tried again."""

import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
import structlog
from django.db import connection
from standardwebhooks.webhooks import Webhook as Reference
from standardwebhooks.webhooks import WebhookVerificationError

from coaching.budget import Budget
from coaching.exchange import webhooks
from coaching.exchange.guarded_post import Answer
from coaching.exchange.webhooks import retry_after_of, send_due_webhooks, signed_headers
from coaching.models import (
    Alert,
    MailRow,
    MailState,
    OutboxState,
    Webhook,
    WebhookDelivery,
    WebhookEvent,
)
from coaching.operations.outbox_rows import LEASE
from coaching.operations.webhook_rows import AlertEvent, claim_delivery, tell_webhooks
from coaching.operations.webhooks import register_webhook, rotate_secret
from coaching.tick import tick
from tests.factories import AlertFactory, WebhookFactory
from tests.loopback import OK, answer, listening
from tests.plan_builders import actor_of

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def at_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def peer(settings):
    with listening() as peer:
        settings.WEBHOOK_TEST_ADDRESSES = [peer.origin]
        yield peer


@pytest.fixture
def alert(cast):
    return AlertFactory(client=cast.client, sentence="Pain of the left knee climbs.", severity=60)


@pytest.fixture
def secret(cast, peer):
    """The secret of a webhook at the peer."""
    return register_webhook(
        actor=actor_of(cast.owner),
        address=f"{peer.origin}/in",
        events=WebhookEvent.values,
        is_active=True,
        now=NOW,
    ).secret


def tell(alert, event=WebhookEvent.ALERT_OPENED, now=NOW):
    tell_webhooks(practice_id=alert.practice_id, told=[AlertEvent(alert, event)], now=now)


def send(now=NOW, budget_s=20.0):
    return send_due_webhooks(now=now, budget=Budget.of(budget_s))


def the_row():
    return WebhookDelivery.objects.get()


def test_the_reference_library_verifies_what_was_sent(peer, secret, alert):
    tell(alert)
    assert send().sent == 1
    (heard,) = peer.heard
    content = Reference(secret).verify(heard.body, heard.fields)
    assert content == {
        "type": "alert.opened",
        "timestamp": "2026-03-02T12:00:00Z",
        "data": {
            "alert": str(alert.uid),
            "client": str(alert.client.uid),
            "address": f"http://127.0.0.1:8000/api/v1/alerts/{alert.uid}",
        },
    }
    assert heard.fields["webhook-id"] == str(the_row().uid)
    assert heard.fields["content-type"] == "application/json"


def test_a_changed_body_id_or_time_fails_the_reference_library(peer, secret, alert):
    tell(alert)
    send()
    (heard,) = peer.heard
    other_time = str(int(heard.fields["webhook-timestamp"]) + 1)
    for body, fields in (
        (heard.body.replace(b"opened", b"closed"), {}),
        (heard.body, {"webhook-id": "another"}),
        (heard.body, {"webhook-timestamp": other_time}),
    ):
        with pytest.raises(WebhookVerificationError, match="No matching signature"):
            Reference(secret).verify(body, heard.fields | fields)


def test_signature_is_the_one_that_the_reference_library_makes():
    key = bytes(range(32))
    headers = signed_headers("any", NOW, b'{"a":1}', [key])
    assert headers["webhook-signature"] == Reference(key).sign("any", NOW, '{"a":1}')


def test_no_health_text_and_no_name_leaves(peer, secret, alert):
    tell(alert)
    send()
    sent = repr(peer.heard[0])
    for private in ("knee", "pain", "Pain", "Mira", "Carl", "Harbour", "severity"):
        assert private not in sent.replace(str(peer.port), "")


def test_both_secrets_verify_while_they_overlap_and_only_the_new_one_after(cast, peer, secret, alert):
    webhook = Webhook.objects.get()
    new = rotate_secret(
        actor=actor_of(cast.owner),
        webhook_uid=webhook.uid,
        expected_version=1,
        overlap=timedelta(hours=24),
        now=NOW,
    ).secret
    tell(alert)
    send()
    for known in (secret, new):
        Reference(known).verify(peer.heard[0].body, peer.heard[0].fields)
    tell(alert, WebhookEvent.ALERT_CLOSED)
    send(NOW + timedelta(hours=24))
    assert peer.heard[1].fields["webhook-signature"].count("v1,") == 1


@pytest.mark.parametrize("status", [200, 201, 202, 204])
def test_a_2xx_is_taken(peer, secret, alert, status):
    peer.says(answer(status))
    tell(alert)
    assert send().sent == 1
    row = the_row()
    assert (row.state, row.status_code) == (OutboxState.SENT, status)
    assert row.sent_at - NOW < timedelta(seconds=9)


@pytest.mark.parametrize("status", [301, 302, 307, 400, 401, 404, 413, 422, 429, 500, 502, 503])
def test_anything_else_is_tried_again_later_with_the_same_id(peer, secret, alert, status):
    peer.says(answer(status, f"Location: {peer.origin}/elsewhere"), OK)
    tell(alert)
    assert send().failed == 1
    row = the_row()
    assert (row.state, row.status_code, row.error_code) == (OutboxState.WAITING, status, f"http_{status}")
    assert peer.hits == 1
    assert send(row.next_at).sent == 1
    first, second = (heard.fields for heard in peer.heard)
    assert first["webhook-id"] == second["webhook-id"]
    assert int(second["webhook-timestamp"]) - int(first["webhook-timestamp"]) >= 60


def test_gone_is_never_tried_again(peer, secret, alert):
    peer.says(answer(410))
    tell(alert)
    assert send().dead == 1
    assert Webhook.objects.get().switched_off == "gone"
    tell(alert, WebhookEvent.ALERT_CLOSED)
    assert send(NOW + timedelta(days=1)).sent == 0
    assert peer.hits == 1


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "broken_answer"),
        (answer(200, body=b"whole")[:-3], "broken_answer"),
        (b"\xff\r\n", "broken_answer"),
    ],
)
def test_an_answer_that_breaks_off_is_tried_again(peer, secret, alert, content, code):
    peer.says(content)
    tell(alert)
    assert send().failed == 1
    assert (the_row().error_code, the_row().status_code) == (code, None)


def test_an_answer_of_ten_megabytes_is_taken_and_not_kept(peer, secret, alert):
    peer.says(answer(200, body=b"kept nowhere" * 1_000_000))
    tell(alert)
    assert send().sent == 1
    assert "kept nowhere" not in repr(WebhookDelivery.objects.values())


def test_a_server_that_is_not_there_is_tried_again(secret, alert, settings):
    with listening() as gone:
        pass
    Webhook.objects.update(address=gone.origin)
    settings.WEBHOOK_TEST_ADDRESSES = [gone.origin]
    tell(alert)
    assert send().failed == 1
    assert the_row().error_code == "no_connection"


def test_a_busy_server_is_left_alone_as_long_as_it_asks(peer, secret, alert):
    peer.says(answer(429, "Retry-After: 7200"))
    tell(alert)
    send()
    assert timedelta(hours=2) <= the_row().next_at - NOW < timedelta(hours=2, seconds=9)


@pytest.mark.parametrize(
    ("text", "status", "wait"),
    [
        ("120", 429, timedelta(seconds=120)),
        ("120", 503, timedelta(seconds=120)),
        ("Mon, 02 Mar 2026 13:00:00 GMT", 503, timedelta(hours=1)),
        ("Mon, 02 Mar 2026 11:00:00 GMT", 503, timedelta()),
        ("Mon, 02 Mar 2026 13:00:00", 503, timedelta(hours=1)),
        ("9" * 400, 503, timedelta(seconds=999_999_999)),
        ("120", 500, None),
        ("", 503, None),
        ("-5", 503, None),
        ("soon", 503, None),
        ("\u0663", 503, None),
    ],
)
def test_how_long_a_busy_server_asks_to_wait(text, status, wait):
    assert retry_after_of(Answer(status, text), NOW) == wait


def test_an_address_that_has_turned_private_is_refused_at_sending(peer, secret, alert, settings):
    settings.WEBHOOK_TEST_ADDRESSES = []
    settings.WEBHOOK_PORTS = [443, peer.port]
    Webhook.objects.update(address=f"https://localhost.localdomain:{peer.port}/")
    tell(alert)
    assert send().failed == 1
    assert the_row().error_code in ("not_public", "does_not_resolve")
    assert peer.hits == 0


@pytest.mark.parametrize("address", ["https://127.1/", "https://[::1]/", "https://good@127.0.0.1/", "any"])
def test_an_address_that_nobody_checked_is_refused_at_sending(peer, secret, alert, address):
    Webhook.objects.update(address=address)
    tell(alert)
    assert send().failed == 1
    assert peer.hits == 0


def test_a_sender_that_dies_between_claim_and_mark_is_repeated_with_the_same_id(
    peer, secret, alert, monkeypatch
):
    def die(**_):
        raise SystemExit

    tell(alert)
    with monkeypatch.context() as patched, pytest.raises(SystemExit):
        patched.setattr(webhooks, "note_accepted", die)
        send()
    assert send(NOW + LEASE - timedelta(seconds=1)).sent == 0
    assert send(NOW + LEASE + timedelta(seconds=9)).sent == 1
    assert the_row().attempts == 2
    assert len({heard.fields["webhook-id"] for heard in peer.heard}) == 1 < peer.hits


def test_a_dead_address_holds_up_no_other_and_costs_a_run_one_attempt(cast, peer, secret, alert, settings):
    with listening() as hanging:
        hanging.hangs = True
        settings.WEBHOOK_TEST_ADDRESSES = [peer.origin, hanging.origin]
        WebhookFactory(practice=cast.practice, address=hanging.origin)
        for event in (WebhookEvent.ALERT_OPENED, WebhookEvent.ALERT_WORSENED, WebhookEvent.ALERT_CLOSED):
            tell(alert, event)
        started_s = time.perf_counter()
        run = send()
        assert (run.sent, run.failed) == (3, 1)
        assert hanging.hits == 1
        assert time.perf_counter() - started_s < 6.5


def test_a_tick_sends_mail_before_webhooks_and_both(cast, peer, secret, alert):
    tell(alert)
    report = tick(now=NOW)
    assert (report.webhooks.sent, peer.hits) == (1, 1)
    assert MailRow.objects.filter(state=MailState.SENT).count() == report.mail.sent > 0


def test_a_second_tick_sends_nothing_again(peer, secret, alert):
    tell(alert)
    tick(now=NOW)
    assert tick(now=NOW).webhooks.sent == 0
    assert peer.hits == 1


def test_a_run_out_of_time_leaves_the_rest_for_the_next(peer, secret, alert):
    tell(alert)
    assert send(budget_s=0).sent == 0
    assert send().sent == 1


def test_log_lines_hold_no_address_and_no_signature(peer, secret, alert):
    peer.says(answer(500, body=b"an answer of theirs"))
    tell(alert)
    with structlog.testing.capture_logs() as lines:
        send()
    text = repr(lines)
    assert "webhook_failed" in text
    for private in (peer.origin, str(alert.uid), "v1,", "whsec", "theirs"):
        assert private not in text


def test_an_erased_alert_is_told_to_nobody(peer, secret, alert):
    tell(alert)
    Alert.objects.all().delete()
    assert send().sent == peer.hits == 0


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_senders_at_once_send_each_delivery_once(cast, peer, secret):
    for number in range(20):
        tell(AlertFactory(client=cast.client, target=str(number)))

    def send_all(_):
        try:
            return send().sent
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        assert sum(pool.map(send_all, range(2))) == 20
    assert peer.hits == len({heard.fields["webhook-id"] for heard in peer.heard}) == 20
    assert claim_delivery(now=NOW) is None
