"""What a practice keeps no longer goes in the night, some at a time; a standing red flag holds a client."""

from datetime import timedelta

import pytest
from django.core.management import call_command

from coaching.budget import Budget
from coaching.exchange.keeping import keep_to_periods
from coaching.models import Alert, AuditEvent, Client, ErasedDigest, Erasure, MailRow, OutboxState, Practice
from coaching.nightly import run_due_nights
from coaching.operations import retention
from coaching.operations.retention import drop_over_age, over_age, years_before
from tests.constraint_rows import insert, world
from tests.factories import NOW, AlertFactory, ClientFactory, MembershipFactory

LONG_AGO = NOW - timedelta(days=8 * 365)


@pytest.fixture
def coach(db):
    return MembershipFactory(practice__keeps_clients_years=2)


@pytest.fixture
def practice(coach):
    return coach.practice


@pytest.fixture
def old(coach):
    return ClientFactory(coach=coach, created_at=LONG_AGO, archived_at=NOW - timedelta(days=3 * 365))


def keep(practice, now=NOW):
    return keep_to_periods(practice=Practice.objects.get(id=practice.id), now=now)


def test_who_was_archived_longer_ago_is_erased(practice, old):
    ClientFactory(coach=old.coach, created_at=LONG_AGO, archived_at=NOW - timedelta(days=365))
    assert keep(practice).clients == 1
    assert not Client.objects.filter(id=old.id).exists()
    assert Client.objects.filter(practice=practice).count() == 1
    assert AuditEvent.objects.get(action="erase").account_id is None
    assert keep(practice).clients == 0


@pytest.mark.parametrize(
    "lately",
    [{"last_posted_at": NOW}, {"archived_at": NOW}, {"created_at": NOW}],
    ids=lambda each: next(iter(each)),
)
def test_whoever_was_heard_of_lately_stays(practice, old, lately):
    Client.objects.filter(id=old.id).update(**lately)
    assert keep(practice).clients == 0


def test_null_keeps_everybody(practice, old):
    Practice.objects.update(keeps_clients_years=None)
    assert keep(practice).clients == 0


def test_a_standing_red_flag_holds_the_client_and_a_closed_one_does_not(practice, old):
    flag = AlertFactory(client=old, kind="red_flag", opened_on=LONG_AGO.date())
    assert over_age(Practice.objects.get(id=practice.id), NOW).clients_held == 1
    assert keep(practice).clients == 0
    Alert.objects.filter(id=flag.id).update(status="closed", closing="cleared", closed_on=NOW.date())
    assert keep(practice).clients == 1


def test_only_some_go_in_a_night(practice, old):
    for _ in range(retention.CLIENTS_A_NIGHT):
        ClientFactory(coach=old.coach, created_at=LONG_AGO)
    assert keep(practice).clients == retention.CLIENTS_A_NIGHT
    assert keep(practice).clients == 1


def test_the_trail_mail_and_tombstones_go_when_their_time_is_over(db):
    rows = world()
    for at in (NOW - timedelta(days=7 * 365), NOW):
        insert(AuditEvent, rows, at=at, read_hour=None)
        insert(MailRow, rows, created_at=at, state=OutboxState.SENT)
    insert(MailRow, rows, created_at=LONG_AGO)  # it waits
    Erasure.objects.update(erased_at=NOW - timedelta(days=366))
    insert(ErasedDigest, rows)
    found = over_age(rows.practice, NOW)
    assert (found.audit, found.mails, found.tombstones) == (1, 1, 1)
    dropped = drop_over_age(practice=rows.practice, now=NOW)
    assert (dropped.audit, dropped.mails, dropped.tombstones) == (1, 1, 1)
    assert not ErasedDigest.objects.exists()
    assert MailRow.objects.count() == 2
    told = AuditEvent.objects.filter(action="retention").values_list("record_kind", "detail")
    assert sorted(kind for kind, _ in told) == ["audit", "mails", "tombstones"]
    again = drop_over_age(practice=rows.practice, now=NOW)
    assert (again.audit, again.mails, again.tombstones) == (0, 0, 0)


def test_mail_of_a_red_flag_that_stands_is_kept_so_that_it_is_not_sent_anew(db):
    rows = world()
    flag = AlertFactory(client=rows.client, kind="red_flag")
    insert(MailRow, rows, created_at=LONG_AGO, state=OutboxState.SENT, payload={"alert": flag.id})
    assert drop_over_age(practice=rows.practice, now=NOW).mails == 0


def test_a_long_trail_goes_in_bounded_steps(db, monkeypatch):
    monkeypatch.setattr(retention, "DELETED_AT_ONCE", 2)
    rows = world()
    for _ in range(5):
        insert(AuditEvent, rows, at=LONG_AGO, read_hour=None)
    assert drop_over_age(practice=rows.practice, now=NOW, steps=2).audit == 4
    assert drop_over_age(practice=rows.practice, now=NOW, steps=2).audit == 1


def test_old_mail_files_of_the_practice_go_as_well(practice, old, settings):
    settings.OUTBOX_DIR.mkdir()
    to = old.coach.account.email
    for name in ("20200101T000000Z-morning-a", "20260301T000000Z-morning-b"):
        (settings.OUTBOX_DIR / f"{name}.eml").write_text(f"To: {to}\nX-Forbear-Kind: morning\n\nAny\n")
    Practice.objects.update(keeps_clients_years=None)
    assert keep(practice).files == 1
    assert [path.stem[-1] for path in settings.OUTBOX_DIR.iterdir()] == ["b"]


def test_the_night_does_it(practice, old):
    run_due_nights(now=NOW, budget=Budget.of(30))
    assert not Client.objects.filter(id=old.id).exists()


def test_trouble_with_it_ends_no_night(practice, old, monkeypatch):
    def fail(**_):
        raise RuntimeError

    monkeypatch.setattr("coaching.nightly.keep_to_periods", fail)
    assert run_due_nights(now=NOW, budget=Budget.of(30)).finished == 1


def test_a_dry_run_counts_and_deletes_nothing(practice, old, capsys, time_machine):
    time_machine.move_to(NOW, tick=False)
    call_command("retention", "--dry-run")
    assert "over age are 1 clients" in capsys.readouterr().out
    assert Client.objects.filter(id=old.id).exists()
    call_command("retention")
    assert not Client.objects.filter(id=old.id).exists()


def test_years_are_those_of_the_calendar():
    assert years_before(NOW.replace(year=2028, month=2, day=29), 1).isoformat()[:10] == "2027-02-28"
    assert years_before(NOW, 6).isoformat()[:10] == "2020-03-02"
