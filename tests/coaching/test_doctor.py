"""What the doctor says: each trouble is made, and must be named with what to do about it."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from coaching import installation, nightly
from coaching.budget import Budget
from coaching.compute import red_flags
from coaching.management.commands import doctor
from coaching.models import MailRow, Night, NightClient, Session, UrgencySignOff, Webhook, WebhookDelivery
from coaching.reads import health
from tests.factories import WebhookFactory
from tests.journeys.processes import free_port

NIGHT_ON = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def well(cast, time_machine, monkeypatch):
    """The newest night of both practices is done, and the urgency table is reviewed."""
    monkeypatch.setattr(health, "CLOCKS_MAY_DIFFER", timedelta(days=36_500))  # only ours is moved
    time_machine.move_to(NOW, tick=False)
    nightly.run_due_nights(now=NOW, budget=Budget.of(60))
    MailRow.objects.update(state="sent", sent_at=NOW)
    for country in {cast.practice.country, cast.stranger.practice.country}:
        UrgencySignOff.objects.create(
            clinician_name="Dana Doctor",
            clinician_profession="physician",
            signed_on=NIGHT_ON,
            country=country,
            table_version=red_flags.VERSION,
            recorded_at=NOW,
        )
    return cast


@pytest.fixture
def look(json_of):
    def run():
        said, code = json_of("doctor")
        return said["found"], code

    return run


def mail(cast, **changes):
    fields = {
        "practice": cast.practice,
        "kind": "urgent",
        "recipient": "carl@harbour.example",
        "key": "any",
        "created_at": NOW - timedelta(hours=3),
        "next_at": NOW,
    }
    return MailRow.objects.create(**fields | changes)


def session(cast, **changes):
    fields = {
        "practice": cast.practice,
        "client": cast.client,
        "performed_at": NOW,
        "zone": "Europe/Berlin",
        "performed_on": NIGHT_ON,
        "content_hash": "v1:any",
        "received_at": NOW,
    }
    return Session.objects.create(**fields | changes)


def no_tick_since_yesterday(cast):
    NightClient.objects.all().delete()
    Night.objects.update(night_on=NIGHT_ON - timedelta(days=1))


def stuck_night(cast):
    Night.objects.filter(practice=cast.practice).update(status="running", planned_at=NOW - timedelta(hours=5))


def confirm_nothing():
    installation.hold(now=NOW)


def poison(cast):
    NightClient.objects.filter(client=cast.client).update(state="failed", error_code="ZeroDivisionError")


def webhook_that_fails(cast):
    WebhookFactory(practice=cast.practice)
    Webhook.objects.update(switched_off="failing", is_active=False)


TROUBLES = [
    (no_tick_since_yesterday, "is not planned", "start the worker"),
    (stuck_night, "1 nights are not done, the first of 2026-03-02", "runs one by hand"),
    (poison, "1 clients could not be scored in the night of 2026-03-02: ZeroDivisionError", "next night"),
    (lambda cast: mail(cast, kind="morning"), "morning mails are more than two hours late", "EMAIL_URL"),
    (lambda cast: mail(cast, error_code="SMTPAuthenticationError_535"), "1 mails have waited", "EMAIL_URL"),
    (lambda cast: mail(cast, state="dead", error_code="recipient_550"), "recipient_550", "address is right"),
    (lambda cast: confirm_nothing(), "was restored, or is held", "confirm_restore"),
    (lambda cast: session(cast, received_at=NOW + timedelta(hours=2)), "2.0 hours ahead", "NTP"),
]


def test_where_all_is_well_nothing_is_said(well, look):
    assert look() == ([], 0)


@pytest.mark.parametrize(("trouble", "what", "to_do"), TROUBLES)
def test_each_trouble_is_named_with_what_to_do(well, look, trouble, what, to_do):
    trouble(well)
    found, code = look()
    assert code == 1
    told = [each for each in found if what in each["what"]]
    assert told and all(to_do in each["to_do"] and not each["is_note"] for each in told)


def test_a_mail_that_had_nothing_to_tell_any_more_is_no_trouble(well, look):
    mail(well, state="dead", error_code="invitation_over")
    assert look() == ([], 0)


def test_notes_are_told_and_are_no_failure(well, look):
    webhook_that_fails(well)
    UrgencySignOff.objects.all().delete()
    found, code = look()
    assert code == 0
    assert [each["is_note"] for each in found] == [True] * len(found)
    assert "webhooks were switched off" in found[0]["what"]
    assert "No clinician has reviewed" in found[-1]["what"]


def test_a_broker_that_is_away_is_named(well, look, settings):
    settings.REDIS_URL = f"redis://127.0.0.1:{free_port()}/0"
    found, code = look()
    assert (code, [each["what"] for each in found]) == (1, ["The broker (REDIS_URL) does not answer."])


def test_a_disk_that_is_nearly_full_is_named(well, look, monkeypatch):
    monkeypatch.setattr(doctor, "LOW_BYTES", 10**18)
    found, code = look()
    assert code == 1
    assert "MB left" in found[0]["what"]


def test_the_disk_of_an_embedded_database_elsewhere_is_looked_at_too(well, look, monkeypatch, settings):
    if connection.vendor != "sqlite":
        assert doctor._folders_written_to() == [Path(settings.VAR_DIR)]
        return
    monkeypatch.setitem(connection.settings_dict, "NAME", "/dev/shm/forbear.sqlite3")
    assert doctor._folders_written_to() == [Path(settings.VAR_DIR), Path("/dev/shm")]


@pytest.mark.parametrize("name", health.WITHOUT)
def test_a_setting_of_the_server_that_loses_data_is_named(well, look, monkeypatch, name):
    monkeypatch.setattr(
        health, "_settings_of_the_server", lambda: dict.fromkeys(health.WITHOUT, "on") | {name: "off"}
    )
    found, code = look()
    assert (code, len(found)) == (1, 1)
    assert f"{name} off: {health.WITHOUT[name]}" in found[0]["what"]
    assert f"{name} = on" in found[0]["to_do"]


@pytest.mark.postgresql
def test_the_settings_are_those_of_the_server(well, look):
    assert set(health._settings_of_the_server()) == set(health.WITHOUT)
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL synchronous_commit = off")
    found, code = look()
    assert code == 1
    assert "synchronous_commit off" in found[0]["what"]


def test_nights_that_were_run_ahead_of_their_dates_are_a_note(well, look):
    Night.objects.filter(practice=well.practice).update(night_on=NIGHT_ON + timedelta(days=900))
    Night.objects.create(practice=well.practice, night_on=NIGHT_ON, zone="UTC", planned_at=NOW, status="done")
    found, code = look()
    assert (code, len(found)) == (0, 1)
    assert "run ahead of their dates" in found[0]["what"]


def test_in_words_wrong_comes_before_notes(well, capsys):
    webhook_that_fails(well)
    poison(well)
    with pytest.raises(CommandError, match="What is wrong: 1"):
        call_command("doctor")
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0] for line in lines if not line.startswith(" ")] == ["Wrong", "Note"]


def test_webhook_messages_that_wait_are_named(well, look):
    hook = WebhookFactory(practice=well.practice)
    WebhookDelivery.objects.create(
        practice=well.practice,
        webhook=hook,
        event="webhook.test",
        created_at=NOW - timedelta(hours=2),
        next_at=NOW,
    )
    found, code = look()
    assert code == 1
    assert "1 webhook messages have waited" in found[0]["what"]


@pytest.mark.postgresql
def test_clocks_that_are_apart_are_named(well, look, monkeypatch):
    monkeypatch.setattr(health, "CLOCKS_MAY_DIFFER", timedelta(seconds=5))
    found, code = look()
    assert code == 1
    assert "The clock of the database server differs by" in found[0]["what"]
