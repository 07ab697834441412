"""A restored database sends no mail and no webhook until an operator confirms."""

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.models import F

from coaching.budget import Budget
from coaching.emails import send_due_mail
from coaching.exchange.webhooks import send_due_webhooks
from coaching.installation import FILE_NAME, is_restored, may_send
from coaching.models import Installation, MailRow, OutboxState
from coaching.tick import tick
from tests.constraint_rows import insert, world
from tests.factories import NOW

LATER = NOW + timedelta(days=1)


@pytest.fixture
def waiting(db):
    rows = world()
    payload = {"account": str(rows.coach.account.id)}
    return insert(MailRow, rows, kind="reset", recipient="any@example.org", payload=payload)


def restore(settings):
    """What a backup of an hour ago looks like, once it is put back where the service has gone on since.

    On PostgreSQL a dump has the row as it was, and makes the table anew, under an OID of its own.
    """
    if connection.vendor == "postgresql":
        Installation.objects.update(table_oid=F("table_oid") - 1)
    else:
        Installation.objects.update(seen_at=NOW - timedelta(hours=1))


def states():
    return set(MailRow.objects.values_list("state", flat=True))


def test_a_new_database_sends(waiting):
    assert send_due_mail(now=NOW, budget=Budget.of(5)).sent == 1
    assert not is_restored()


def test_a_restored_one_sends_nothing_until_it_is_confirmed(waiting, settings):
    assert may_send(now=NOW)
    restore(settings)
    assert is_restored()
    send_due_mail(now=NOW, budget=Budget.of(5))
    tick(now=NOW, budget=Budget.of(2))
    assert states() == {OutboxState.WAITING}
    call_command("confirm_restore")
    assert not is_restored()
    send_due_mail(now=NOW, budget=Budget.of(5))
    assert states() == {OutboxState.SENT}


def test_nor_does_it_call_webhooks(waiting, settings, monkeypatch):
    assert may_send(now=NOW)
    restore(settings)
    monkeypatch.setattr("coaching.exchange.webhooks.claim_delivery", lambda **_: pytest.fail("claimed"))
    assert send_due_webhooks(now=NOW, budget=Budget.of(1)).sent == 0


def test_what_waited_in_the_backup_may_be_given_up(waiting, settings, capsys):
    assert may_send(now=NOW)
    restore(settings)
    call_command("confirm_restore", "--drop-waiting")
    assert "1 that waited" in capsys.readouterr().out
    assert set(MailRow.objects.values_list("state", "error_code")) == {("dead", "restored")}


def test_what_cannot_be_seen_is_held_by_hand(waiting):
    call_command("confirm_restore", "--hold")
    send_due_mail(now=NOW, budget=Budget.of(5))
    assert states() == {OutboxState.WAITING}
    call_command("confirm_restore")
    call_command("confirm_restore")
    send_due_mail(now=NOW, budget=Budget.of(5))
    assert states() == {OutboxState.SENT}


def test_going_on_day_by_day_is_no_restore(waiting):
    for hours in range(0, 49, 12):
        assert may_send(now=NOW + timedelta(hours=hours))
    assert may_send(now=NOW)  # a clock that was put right


@pytest.mark.parametrize("left", [None, "", "{}", '{"mark": "x", "seen_at": "y"}'])
def test_an_embedded_database_without_its_mark_is_a_restored_one(waiting, settings, left):
    assert may_send(now=NOW)
    file = settings.VAR_DIR / FILE_NAME
    if connection.vendor == "postgresql":
        assert not file.exists()
        assert may_send(now=LATER)
        return
    file.unlink() if left is None else file.write_text(left)
    assert not may_send(now=LATER)
    assert is_restored()
