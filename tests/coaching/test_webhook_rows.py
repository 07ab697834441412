"""Deliveries as rows: which events are told, to whom, in which order, and what is kept of them."""

from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta

import pytest
from django.db import connection

from coaching.models import Alert, AuditEvent, OutboxState, Webhook, WebhookDelivery, WebhookEvent
from coaching.operations import alerts, webhook_rows
from coaching.operations.alerts import Finding, apply_findings, close_cleared_red_flags
from coaching.operations.clearances import ClearanceContent, record_clearance
from coaching.operations.outbox_rows import LEASE, MAX_ATTEMPTS
from coaching.operations.webhook_rows import (
    RESTS,
    SWITCHED_OFF_AFTER,
    AlertEvent,
    Refusal,
    claim_delivery,
    drop_old_deliveries,
    due_deliveries,
    note_accepted,
    note_refused,
    tell_webhooks,
)
from tests.factories import NOW, AlertFactory, ClientFactory, PracticeFactory, WebhookFactory
from tests.plan_builders import actor_of

ON = date(2026, 3, 2)


@pytest.fixture
def webhook(cast):
    return WebhookFactory(practice=cast.practice)


@pytest.fixture
def alert(cast):
    return AlertFactory(client=cast.client)


def tell(alert, event="alert.opened", now=NOW):
    told = [AlertEvent(alert, WebhookEvent(event))]
    tell_webhooks(practice_id=alert.practice_id, told=told, now=now)


def find(client, severity=60, kind="pain_rising", on=ON, found=True, pain_level=4.0):
    finding = Finding(client.id, kind, "knee:left", severity, "Climbs.", {}, "test 1", pain_level)
    apply_findings(
        practice_id=client.practice_id,
        client_ids=[client.id],
        findings=[finding] if found else [],
        kinds=[kind],
        on=on,
        now=NOW,
    )


def events():
    return list(WebhookDelivery.objects.order_by("id").values_list("event", flat=True))


def test_what_a_night_opens_and_ends_is_told(cast, webhook):
    find(cast.client)
    find(cast.client, found=False, on=ON + timedelta(days=30))
    assert events() == ["alert.opened", "alert.closed"]


def test_the_same_night_twice_is_told_once(cast, webhook):
    find(cast.client)
    find(cast.client)
    assert events() == ["alert.opened"]


def test_worse_than_what_was_read_is_told_once_until_it_is_read_again(cast, webhook):
    find(cast.client)
    acknowledge(cast)
    find(cast.client, severity=70)
    find(cast.client, severity=80)
    acknowledge(cast)
    find(cast.client, severity=90)
    assert events() == [
        "alert.opened", "alert.acknowledged", "alert.worsened", "alert.acknowledged", "alert.worsened",
    ]  # fmt: skip


def acknowledge(cast):
    alert = Alert.objects.get()
    alerts.acknowledge(
        actor=actor_of(cast.coach), alert_uid=alert.uid, expected_version=alert.version, now=NOW
    )


def test_what_a_coach_closes_is_told(cast, webhook, alert):
    alerts.close(
        actor=actor_of(cast.coach), alert_uid=alert.uid, expected_version=1, note="Any", today=ON, now=NOW
    )
    assert events() == ["alert.closed"]


def test_what_was_entered_by_mistake_is_told_as_closed(cast, webhook):
    flag = AlertFactory(client=cast.client, kind="red_flag", withdrawal_asked_at=NOW)
    alerts.confirm_withdrawal(
        actor=actor_of(cast.coach), alert_uid=flag.uid, expected_version=1, reason="Any", today=ON, now=NOW
    )
    assert events() == ["alert.closed"]


def test_what_a_clearance_ends_is_told_once(cast, webhook):
    AlertFactory(client=cast.client, kind="red_flag", evidence={"flags": ["night_pain"]})
    clearance = record_clearance(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        content=ClearanceContent(
            clinician_name="Dana Doctor",
            clinician_profession="surgeon",
            cleared_on=ON,
            flags=("night_pain",),
        ),
        now=NOW,
    )
    close_cleared_red_flags(clearance=clearance.row, now=NOW)
    assert events() == ["alert.closed"]


def test_putting_off_tells_nothing(cast, webhook, alert):
    alerts.put_off(
        actor=actor_of(cast.coach),
        alert_uid=alert.uid,
        expected_version=1,
        until_on=ON + timedelta(days=7),
        today=ON,
        now=NOW,
    )
    assert events() == []


def test_each_address_is_told_what_it_asked_for(cast, alert):
    opened = WebhookFactory(practice=cast.practice, events=["alert.opened"])
    WebhookFactory(practice=cast.practice, events=["alert.closed"])
    WebhookFactory(practice=cast.practice, is_active=False)
    WebhookFactory(practice=cast.stranger.practice)
    tell(alert)
    assert [row.webhook for row in WebhookDelivery.objects.all()] == [opened]


def test_nothing_to_tell_costs_no_query(cast, django_assert_num_queries):
    with django_assert_num_queries(0):
        tell_webhooks(practice_id=cast.practice.id, told=[], now=NOW)


def test_many_alerts_cost_the_queries_of_one(cast, webhook, django_assert_num_queries):
    told = [
        AlertEvent(AlertFactory(client=cast.client, target=str(n)), WebhookEvent.ALERT_OPENED)
        for n in range(9)
    ]
    with django_assert_num_queries(2):
        tell_webhooks(practice_id=cast.practice.id, told=told, now=NOW)


def test_an_erased_client_takes_the_deliveries_along(cast, webhook, alert):
    tell(alert)
    Alert.objects.filter(id=alert.id).delete()
    assert not WebhookDelivery.objects.exists()


def test_a_claim_counts_the_attempt_before_anything_is_sent(webhook, alert):
    tell(alert)
    row = claim_delivery(now=NOW)
    stored = WebhookDelivery.objects.get()
    assert stored.attempts == row.attempts == 1
    assert claim_delivery(now=NOW + LEASE - timedelta(seconds=1)) is None
    assert claim_delivery(now=NOW + LEASE).uid == row.uid


def test_addresses_take_turns(cast, alert):
    first, second = WebhookFactory(practice=cast.practice), WebhookFactory(practice=cast.practice)
    for event in ("alert.opened", "alert.worsened"):
        tell(alert, event)
    claimed = [claim_delivery(now=NOW + timedelta(seconds=n)).webhook for n in range(4)]
    assert claimed == [first, second, first, second]


def test_what_fails_comes_after_all_that_is_well(cast, alert):
    failing = WebhookFactory(practice=cast.practice, failures=1)
    well = WebhookFactory(practice=cast.practice, tried_at=NOW)
    tell(alert)
    assert [claim_delivery(now=NOW).webhook for _ in range(2)] == [well, failing]


def test_an_address_that_fails_rests_with_all_that_waits_for_it(webhook, alert):
    tell(alert)
    tell(alert, "alert.worsened")
    note_refused(row=claim_delivery(now=NOW), refusal=Refusal("timeout"), now=NOW)
    assert claim_delivery(now=NOW + RESTS[0] - timedelta(seconds=1)) is None
    assert claim_delivery(now=NOW + RESTS[0]) is not None


def test_it_rests_longer_each_time(webhook, alert):
    tell(alert)
    row = claim_delivery(now=NOW)
    rests = []
    for _ in range(6):
        note_refused(row=row, refusal=Refusal("timeout"), now=NOW)
        rests.append(Webhook.objects.get().rests_until_at - NOW)
    assert rests == [*RESTS, RESTS[-1], RESTS[-1]]


@pytest.mark.parametrize(
    ("asked", "waits"), [(timedelta(hours=2), timedelta(hours=2)), (timedelta(days=9), timedelta(hours=6))]
)
def test_a_busy_server_is_left_alone_as_long_as_it_asks_within_bounds(webhook, alert, asked, waits):
    tell(alert)
    note_refused(row=claim_delivery(now=NOW), refusal=Refusal("http_503", 503, asked), now=NOW)
    row, webhook = WebhookDelivery.objects.get(), Webhook.objects.get()
    assert (row.next_at, webhook.rests_until_at, row.status_code) == (NOW + waits, NOW + waits, 503)


def test_a_success_makes_an_address_well(webhook, alert):
    tell(alert)
    note_refused(row=claim_delivery(now=NOW), refusal=Refusal("timeout"), now=NOW)
    note_accepted(row=claim_delivery(now=NOW + timedelta(hours=1)), status_code=204, now=NOW)
    webhook, row = Webhook.objects.get(), WebhookDelivery.objects.get()
    assert (webhook.failures, webhook.failing_since_at, webhook.rests_until_at) == (0, None, None)
    assert (row.state, row.status_code, row.error_code) == (OutboxState.SENT, 204, "")


def test_a_delivery_is_given_up_after_two_days(webhook, alert):
    tell(alert)
    late = NOW + timedelta(hours=47, minutes=59, seconds=30)
    state = note_refused(row=claim_delivery(now=late), refusal=Refusal("timeout"), now=late)
    assert state == WebhookDelivery.objects.get().state == OutboxState.DEAD


def test_a_delivery_that_kills_its_sender_is_set_aside_in_the_end(webhook, alert):
    tell(alert)
    WebhookDelivery.objects.update(attempts=MAX_ATTEMPTS)
    assert claim_delivery(now=NOW) is None
    assert WebhookDelivery.objects.get().error_code == "gave_up"


def test_an_address_that_is_gone_is_switched_off(webhook, alert):
    tell(alert)
    tell(alert, "alert.worsened")
    note_refused(row=claim_delivery(now=NOW), refusal=Refusal("http_410", 410), now=NOW)
    webhook = Webhook.objects.get()
    assert (webhook.is_active, webhook.switched_off) == (False, "gone")
    assert claim_delivery(now=NOW) is None
    codes = WebhookDelivery.objects.order_by("id").values_list("state", "error_code")
    assert list(codes) == [("dead", "http_410"), ("dead", "switched_off")]
    assert AuditEvent.objects.get(record_kind="webhook").action == "switch_off"


def test_an_address_that_fails_for_days_is_switched_off_once(webhook, alert):
    tell(alert)
    row = claim_delivery(now=NOW)
    for days in (0, 4, 5, 6):
        later = NOW + timedelta(days=days)
        note_refused(row=row, refusal=Refusal("timeout"), now=later)
        is_on = later - NOW < SWITCHED_OFF_AFTER
        assert Webhook.objects.get().is_active == is_on
    assert Webhook.objects.get().switched_off == "failing"
    assert AuditEvent.objects.filter(action="switch_off").count() == 1


def test_what_an_owner_removed_meanwhile_is_marked_all_the_same(webhook, alert):
    tell(alert)
    row = claim_delivery(now=NOW)
    Webhook.objects.all().delete()
    note_accepted(row=row, status_code=200, now=NOW)
    note_refused(row=row, refusal=Refusal("timeout"), now=NOW)


def test_deliveries_are_kept_for_thirty_days(webhook, alert):
    tell(alert, "alert.opened", now=NOW - timedelta(days=31))
    tell(alert, "alert.worsened", now=NOW - timedelta(days=29))
    assert drop_old_deliveries(now=NOW) == 1
    assert events() == ["alert.worsened"]
    assert drop_old_deliveries(now=NOW) == 0


def test_old_deliveries_are_dropped_in_steps(webhook, alert, monkeypatch):
    monkeypatch.setattr(webhook_rows, "DROPPED_AT_ONCE", 2)
    for version in range(5):
        alert.version = version
        tell(alert, "alert.worsened", now=NOW - timedelta(days=40))
    assert [drop_old_deliveries(now=NOW) for _ in range(4)] == [2, 2, 1, 0]


def test_a_removed_webhook_goes_with_its_deliveries_an_hour_later(webhook, alert):
    tell(alert)
    Webhook.objects.update(is_active=False, removed_at=NOW)
    drop_old_deliveries(now=NOW + timedelta(minutes=59))
    assert Webhook.objects.count() == WebhookDelivery.objects.count() == 1
    drop_old_deliveries(now=NOW + timedelta(minutes=61))
    assert Webhook.objects.count() == WebhookDelivery.objects.count() == 0


def test_what_waits_is_found_without_being_changed(webhook, alert):
    tell(alert)
    assert due_deliveries(NOW).count() == 1
    assert due_deliveries(NOW - timedelta(seconds=1)).count() == 0


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_claims_at_once_never_take_the_same_delivery():
    practice = PracticeFactory()
    WebhookFactory(practice=practice)
    client = ClientFactory(coach__practice=practice)
    for number in range(20):
        tell(AlertFactory(client=client, target=str(number)))

    def claim_all(_):
        try:
            claimed = (claim_delivery(now=NOW) for _ in range(20))
            return [row.id for row in claimed if row is not None]
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(claim_all, range(2))
    assert sorted(first + second) == sorted(WebhookDelivery.objects.values_list("id", flat=True))
