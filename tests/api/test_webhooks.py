"""Webhooks over HTTP: an owner registers, changes, tests and removes them; nobody else sees them."""

import json

import pytest
from standardwebhooks.webhooks import Webhook as Reference

from coaching.budget import Budget
from coaching.exchange import public_addresses
from coaching.exchange.webhooks import send_due_webhooks
from coaching.models import AuditEvent, Webhook, WebhookDelivery
from tests.bodies import version_of
from tests.factories import NOW, WebhookFactory
from tests.loopback import answer, listening

ALL = "/api/v1/webhooks"
BODY = {"address": "https://hooks.example.org/forbear", "events": ["alert.opened", "alert.closed"]}


@pytest.fixture(autouse=True)
def at_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture(autouse=True)
def every_name_is_public(monkeypatch):
    """No name is asked for, and only loopback is ever called."""

    def resolve(host, port, within_s):
        return [host if host == "127.0.0.1" else "93.184.215.14"]

    monkeypatch.setattr(public_addresses, "resolve_name", resolve)


@pytest.fixture
def owner(cast, signed_in):
    return signed_in(cast.owner)


@pytest.fixture
def webhook(cast):
    return WebhookFactory(practice=cast.practice)


def one(webhook, more=""):
    return f"{ALL}/{webhook.uid}{more}"


def patch(api, webhook, body, version=1):
    return api.patch(one(webhook), body, HTTP_IF_MATCH=f'"{version}"')


def test_a_registered_webhook_is_shown_whole_with_its_secret(owner):
    answered = owner.post(ALL, BODY)
    assert (answered.status_code, version_of(answered)) == (201, '"1"')
    body = answered.json()
    webhook = Webhook.objects.get()
    assert body["webhook"] == {
        "id": str(webhook.uid),
        "address": "https://hooks.example.org/forbear",
        "events": ["alert.opened", "alert.closed"],
        "is_active": True,
        "switched_off": None,
        "failing_since_at": None,
        "former_secret_until_at": None,
        "created_at": "2026-03-02T12:00:00Z",
        "version": 1,
    }
    assert body["secret"].startswith("whsec_")


def test_the_secret_is_shown_once_and_kept_nowhere(owner):
    secret = owner.post(ALL, BODY).json()["secret"]
    webhook = Webhook.objects.get()
    for shown in (owner.get(ALL), owner.get(one(webhook)), patch(owner, webhook, {"is_active": False})):
        assert "secret" not in shown.json() and secret not in shown.content.decode()
    kept = json.dumps([*Webhook.objects.values(), *AuditEvent.objects.values()], default=str)
    assert secret.removeprefix("whsec_") not in kept


def test_the_same_database_under_another_secret_key_signs_otherwise(owner, settings):
    owner.post(ALL, BODY)
    keys = Webhook.objects.get().signing_keys(NOW)
    settings.SECRET_KEY = "another"
    assert Webhook.objects.get().signing_keys(NOW) != keys


def test_webhooks_are_listed_newest_first_without_removed_ones(cast, owner):
    first, second = WebhookFactory(practice=cast.practice), WebhookFactory(practice=cast.practice)
    WebhookFactory(practice=cast.practice, is_active=False, removed_at=NOW)
    WebhookFactory(practice=cast.stranger.practice)
    assert [item["id"] for item in owner.get(ALL).json()["items"]] == [str(second.uid), str(first.uid)]


def test_an_unchanged_webhook_is_not_sent_twice(owner, webhook):
    tag = owner.get(one(webhook))["ETag"]
    assert owner.get(one(webhook), HTTP_IF_NONE_MATCH=tag).status_code == 304


def test_a_patch_changes_what_it_names(owner, webhook):
    answered = patch(owner, webhook, {"events": ["alert.worsened"], "is_active": False})
    assert (answered.status_code, version_of(answered)) == (200, '"2"')
    assert (answered.json()["events"], answered.json()["is_active"]) == (["alert.worsened"], False)
    assert answered.json()["address"] == webhook.address


def test_switching_on_again_forgets_why_it_was_off(cast, owner):
    webhook = WebhookFactory(
        practice=cast.practice, is_active=False, switched_off="failing", failing_since_at=NOW, failures=9
    )
    body = patch(owner, webhook, {"is_active": True}).json()
    assert (body["is_active"], body["switched_off"], body["failing_since_at"]) == (True, None, None)
    assert Webhook.objects.get().failures == 0


@pytest.mark.parametrize("do", ["patch", "delete"])
def test_an_edit_needs_the_current_version(owner, webhook, do):
    assert getattr(owner, do)(one(webhook), {"is_active": False}).status_code == 428
    stale = getattr(owner, do)(one(webhook), {"is_active": False}, HTTP_IF_MATCH='"9"')
    assert stale.status_code == 412
    assert Webhook.objects.get().version == 1


@pytest.mark.parametrize(
    ("body", "pointer", "code"),
    [
        ({"address": "http://hooks.example.org/"}, "/address", "not_https"),
        ({"address": "https://127.0.0.1/"}, "/address", "not_a_name"),
        ({"address": "https://good@127.0.0.1/"}, "/address", "has_credentials"),
        ({"address": "https://hooks.example.org:8443/"}, "/address", "port"),
        ({"address": "https://hooks.example.org/\r\nX: 1"}, "/address", "control_character"),
        ({"address": "https://bücher.example/"}, "/address", "not_an_address"),
        ({"address": "https://hooks.example.org/" + "a" * 500}, "/address", "not_an_address"),
        ({"address": 7}, "/address", "invalid"),
        ({"events": []}, "/events", "min_length"),
        ({"events": ["alert.opened", "alert.opened"]}, "/events", "repeated"),
        ({"events": ["webhook.test"]}, "/events/0", "invalid_choice"),
        ({"is_active": 1}, "/is_active", "invalid"),
        ({"secret": "mine"}, "/secret", "unknown_key"),
    ],
)
def test_a_bad_field_is_422_at_its_place(owner, webhook, body, pointer, code):
    for answered in (owner.post(ALL, BODY | body), patch(owner, webhook, body)):
        assert answered.status_code == 422
        (fault,) = answered.json()["errors"]
        assert (fault["pointer"], fault["code"]) == (pointer, code)
    assert Webhook.objects.count() == 1


@pytest.mark.parametrize(
    "address", ["127.0.0.1", "10.0.0.1", "169.254.169.254", "fd00::1", "::ffff:127.0.0.1"]
)
def test_a_name_that_is_not_public_is_422(owner, monkeypatch, address):
    monkeypatch.setattr(public_addresses, "resolve_name", lambda *_: ["93.184.215.14", address])
    answered = owner.post(ALL, BODY)
    assert (answered.status_code, answered.json()["errors"][0]["code"]) == (422, "not_public")


def test_a_practice_has_ten_webhooks_at_most(cast, owner):
    for _ in range(10):
        webhook = WebhookFactory(practice=cast.practice)
    assert owner.post(ALL, BODY).status_code == 409
    owner.delete(one(webhook), HTTP_IF_MATCH='"1"')
    assert owner.post(ALL, BODY).status_code == 201


def test_a_removed_webhook_is_not_there(owner, webhook):
    assert owner.delete(one(webhook), HTTP_IF_MATCH='"1"').status_code == 204
    for more in ("", "/deliveries"):
        assert owner.get(one(webhook, more)).status_code == 404
    assert owner.post(one(webhook, "/test")).status_code == 404


def test_a_rotated_secret_is_shown_once_and_says_how_long_both_hold(owner, webhook):
    answered = owner.post(one(webhook, "/secret"), {"overlap_hours": 24}, HTTP_IF_MATCH='"1"')
    assert (answered.status_code, version_of(answered)) == (201, '"2"')
    assert answered.json()["webhook"]["former_secret_until_at"] == "2026-03-03T12:00:00Z"
    assert answered.json()["secret"].startswith("whsec_")


def test_without_overlap_the_former_secret_ends_at_once(owner, webhook):
    owner.post(one(webhook, "/secret"), {"overlap_hours": 0}, HTTP_IF_MATCH='"1"')
    assert len(Webhook.objects.get().signing_keys(NOW)) == 1


def test_rotating_needs_the_current_version(owner, webhook):
    assert owner.post(one(webhook, "/secret"), {"overlap_hours": 24}).status_code == 428
    assert owner.post(one(webhook, "/secret"), {"overlap_hours": 24}, HTTP_IF_MATCH='"9"').status_code == 412


@pytest.mark.parametrize("hours", [-1, 169, 1.5, "24", None, True])
def test_an_overlap_lies_within_a_week(owner, webhook, hours):
    answered = owner.post(one(webhook, "/secret"), {"overlap_hours": hours}, HTTP_IF_MATCH='"1"')
    assert answered.status_code == 422


def test_a_test_event_arrives_and_is_listed(cast, owner, settings):
    with listening() as peer:
        settings.WEBHOOK_TEST_ADDRESSES = [peer.origin]
        shown = owner.post(ALL, BODY | {"address": peer.origin + "/in"}).json()
        webhook = Webhook.objects.get()
        delivery = owner.post(one(webhook, "/test"))
        assert delivery.status_code == 202
        send_due_webhooks(now=NOW, budget=Budget.of(5))
    (heard,) = peer.heard
    assert Reference(shown["secret"]).verify(heard.body, heard.fields) == {
        "type": "webhook.test",
        "timestamp": "2026-03-02T12:00:00Z",
        "data": {"webhook": str(webhook.uid)},
    }
    (item,) = owner.get(one(webhook, "/deliveries")).json()["items"]
    sent_at = item.pop("sent_at")
    assert sent_at.startswith("2026-03-02T12:00:00")
    assert item == {
        "id": delivery.json()["id"],
        "event": "webhook.test",
        "alert": None,
        "state": "sent",
        "attempts": 1,
        "status_code": 200,
        "error_code": "",
        "created_at": "2026-03-02T12:00:00Z",
        "next_at": None,
    }


def test_a_failed_delivery_says_when_it_is_tried_again_and_never_what_was_answered(owner, settings):
    with listening() as peer:
        settings.WEBHOOK_TEST_ADDRESSES = [peer.origin]
        peer.says(answer(500, body=b"inside of their network"))
        owner.post(ALL, BODY | {"address": peer.origin})
        webhook = Webhook.objects.get()
        owner.post(one(webhook, "/test"))
        send_due_webhooks(now=NOW, budget=Budget.of(5))
    answered = owner.get(one(webhook, "/deliveries"))
    (item,) = answered.json()["items"]
    assert (item["state"], item["status_code"], item["error_code"]) == ("waiting", 500, "http_500")
    assert item["next_at"].startswith("2026-03-02T12:01:")
    assert "inside" not in answered.content.decode()
    assert owner.get(one(webhook)).json()["failing_since_at"].startswith("2026-03-02T12:00:00")


def test_one_test_event_waits_at_a_time(owner, webhook):
    assert owner.post(one(webhook, "/test")).status_code == 202
    assert owner.post(one(webhook, "/test")).status_code == 409
    assert WebhookDelivery.objects.count() == 1


def test_a_webhook_that_is_off_is_not_tested(owner, webhook):
    patch(owner, webhook, {"is_active": False})
    assert owner.post(one(webhook, "/test")).status_code == 409


def test_a_test_wakes_an_address_at_rest(owner, webhook):
    Webhook.objects.update(rests_until_at="2026-03-09T12:00:00Z")
    owner.post(one(webhook, "/test"))
    assert Webhook.objects.get().rests_until_at is None


def test_everything_an_owner_does_is_on_the_trail(cast, owner):
    owner.post(ALL, BODY)
    webhook = Webhook.objects.get()
    patch(owner, webhook, {"is_active": True})
    owner.post(one(webhook, "/secret"), {"overlap_hours": 24}, HTTP_IF_MATCH='"2"')
    owner.post(one(webhook, "/test"))
    owner.delete(one(webhook), HTTP_IF_MATCH='"3"')
    rows = AuditEvent.objects.filter(record_kind="webhook", record_id=str(webhook.uid)).order_by("id")
    assert [row.action for row in rows] == ["create", "update", "rotate_secret", "test", "delete"]
    assert {row.account_id for row in rows} == {cast.owner.account_id}


@pytest.mark.parametrize(
    ("who", "status"), [("coach", 403), ("colleague", 403), ("client", 403), ("stranger", 404)]
)
def test_only_the_owner_of_the_practice_gets_there(cast, signed_in, webhook, who, status):
    api = signed_in(getattr(cast, who))
    match = {"HTTP_IF_MATCH": '"1"'}
    answers = [
        api.get(one(webhook)),
        api.patch(one(webhook), {"is_active": False}, **match),
        api.delete(one(webhook), **match),
        api.post(one(webhook, "/secret"), {"overlap_hours": 24}, **match),
        api.post(one(webhook, "/test")),
        api.get(one(webhook, "/deliveries")),
    ]
    assert {answered.status_code for answered in answers} == {status}
    assert Webhook.objects.get().version == 1
    assert not WebhookDelivery.objects.exists()


@pytest.mark.parametrize("who", ["coach", "colleague", "client"])
def test_only_an_owner_lists_and_registers(cast, signed_in, webhook, who):
    api = signed_in(getattr(cast, who))
    assert api.get(ALL).status_code == api.post(ALL, BODY).status_code == 403


def test_nobody_gets_there_without_a_token(client, webhook):
    assert client.get(ALL).status_code == client.get(one(webhook)).status_code == 401


def test_queries_do_not_grow_with_deliveries(owner, webhook, django_assert_max_num_queries):
    for number in range(20):
        WebhookDelivery.objects.create(
            practice=webhook.practice,
            webhook=webhook,
            event="webhook.test",
            event_key=str(number),
            created_at=NOW,
            next_at=NOW,
        )
    with django_assert_max_num_queries(6):
        assert len(owner.get(one(webhook, "/deliveries")).json()["items"]) == 20
