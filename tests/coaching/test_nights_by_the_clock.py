"""When nights are planned: once for each date of the practice's calendar, whatever the clocks do."""

from datetime import UTC, date, datetime, timedelta

import pytest

from coaching.budget import Budget
from coaching.compute.local_days import first_valid_instant, newest_due_night
from coaching.emails import send_due_mail
from coaching.models import Alert, Client, MailRow, Night, NightClient, NightStatus, Score
from coaching.nightly import run_due_nights
from coaching.operations.nights import plan_due_nights
from coaching.operations.outbox_rows import due_at
from tests.factories import AlertFactory, ClientFactory, MembershipFactory, PracticeFactory

pytestmark = pytest.mark.django_db

STEP = timedelta(minutes=7)
NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
ZONES = [
    ("Europe/Paris", date(2026, 3, 29)),
    ("Europe/Paris", date(2026, 10, 25)),
    ("America/New_York", date(2026, 3, 8)),
    ("America/New_York", date(2026, 11, 1)),
    ("Australia/Lord_Howe", date(2026, 4, 5)),
    ("Australia/Lord_Howe", date(2026, 10, 4)),
    ("Pacific/Apia", date(2011, 12, 30)),
    ("Africa/Casablanca", date(2026, 2, 15)),
    ("Africa/Casablanca", date(2026, 3, 22)),
    ("Asia/Kathmandu", date(2026, 3, 29)),
    ("Etc/GMT+12", date(2026, 3, 29)),
    ("Pacific/Kiritimati", date(2026, 3, 29)),
]
LEFT_OUT = {("Pacific/Apia", date(2011, 12, 30))}


def walk(begin, end, practice, *, step=STEP):
    """Plan at every step of the clock; the dates planned, with the instant at which each was."""
    at = begin
    while at <= end:
        plan_due_nights(now=at)
        at += step
    return dict(Night.objects.filter(practice=practice).values_list("night_on", "planned_at"))


def run(now):
    return run_due_nights(now=now, budget=Budget.of(60))


@pytest.fixture
def practice():
    practice = PracticeFactory(zone="UTC", created_at=NOW - timedelta(days=90))
    ClientFactory.create_batch(2, coach=MembershipFactory(practice=practice), practice=practice)
    return practice


@pytest.mark.parametrize(("zone", "changes_on"), ZONES)
@pytest.mark.parametrize("night_hour", [0, 2, 3])
def test_each_date_of_the_calendar_gets_one_night_and_none_before_its_hour(zone, changes_on, night_hour):
    practice = PracticeFactory(zone=zone, night_hour=night_hour)
    first_on, last_on = changes_on - timedelta(days=2), changes_on + timedelta(days=2)
    begin = first_valid_instant(zone, first_on, night_hour)
    end = first_valid_instant(zone, last_on, night_hour) + STEP
    planned = walk(begin, end, practice)
    there_are = {first_on + timedelta(days=number) for number in range(5)}
    assert set(planned) == {day for day in there_are if (zone, day) not in LEFT_OUT}
    for night_on, planned_at in planned.items():
        late_by = planned_at - first_valid_instant(zone, night_on, night_hour)
        assert timedelta() <= late_by < STEP
    assert set(Night.objects.values_list("status", flat=True)) == {NightStatus.DUE}


@pytest.mark.parametrize(
    ("zone", "new_zone"),
    [
        ("Pacific/Kiritimati", "Etc/GMT+12"),
        ("Etc/GMT+12", "Pacific/Kiritimati"),
        ("Pacific/Pago_Pago", "Pacific/Apia"),
        ("Pacific/Apia", "Pacific/Pago_Pago"),
    ],
)
@pytest.mark.parametrize("hours", range(0, 24, 4))
def test_a_practice_that_moves_over_the_date_line_has_one_night_for_each_date(zone, new_zone, hours):
    practice = PracticeFactory(zone=zone)
    moves_at = NOW + timedelta(hours=hours)
    walk(NOW - timedelta(days=2), moves_at, practice)
    practice.zone = new_zone
    practice.save()
    planned = walk(moves_at, moves_at + timedelta(days=4), practice)
    first, last = min(planned), max(planned)
    assert sorted(planned) == [first + timedelta(days=day) for day in range((last - first).days + 1)]
    assert last == newest_due_night(new_zone, practice.night_hour, moves_at + timedelta(days=4))
    assert not Night.objects.filter(status=NightStatus.SKIPPED).exists()


def test_a_clock_that_steps_two_hours_back_and_forth_doubles_and_loses_nothing(practice):
    due_at_ = datetime(2026, 3, 2, 3, 0, tzinfo=UTC)
    for minutes in (-10, 60, 130, 10, -110, 0, 120, 5, 125, 240, 120, 24 * 60 + 1, 23 * 60, 24 * 60 + 2):
        run(due_at_ + timedelta(minutes=minutes))
    nights = Night.objects.filter(practice=practice)
    assert list(nights.order_by("night_on").values_list("night_on", "status", "clients_scored")) == [
        (date(2026, 3, day), NightStatus.DONE, 2) for day in (1, 2, 3)
    ]
    assert Score.objects.count() == NightClient.objects.count() == 6
    assert MailRow.objects.filter(kind="morning").count() == 3


def test_nights_that_a_clock_years_ahead_has_run_come_again_on_their_own_dates(practice):
    run(NOW)
    run(NOW + timedelta(days=1000))
    planned_ahead = Night.objects.filter(night_on__gt=NOW.date())
    assert planned_ahead.count() == 1000
    for day in range(1, 4):
        assert run(NOW + timedelta(days=day)).finished == 1
    newest = Night.objects.filter(night_on__lte=NOW.date() + timedelta(days=3))
    assert list(newest.order_by("night_on").values_list("status", "clients_scored")) == [("done", 2)] * 4
    assert planned_ahead.count() == 1000
    mailed = MailRow.objects.filter(kind="morning", created_at__lt=NOW + timedelta(days=9))
    assert mailed.count() == 4


def test_scores_that_a_clock_ten_days_ahead_has_made_are_made_anew_on_their_date(practice):
    run(NOW)
    run(NOW + timedelta(days=10))
    run(NOW + timedelta(days=1))
    again_on = NOW.date() + timedelta(days=1)
    assert set(Score.objects.filter(night_on=again_on).values_list("revision", flat=True)) == {0, 1}
    assert not Client.objects.dirty().exists()
    run(NOW + timedelta(days=1))
    assert Score.objects.filter(night_on=again_on, revision=2).count() == 0


def test_an_alert_seen_by_a_clock_that_was_ahead_still_ends_when_its_evidence_is_gone(practice):
    run(NOW)
    client = Client.objects.first()
    AlertFactory(client=client, seen_on=NOW.date() + timedelta(days=10))
    run(NOW + timedelta(days=10))
    for day in range(1, 25):
        run(NOW + timedelta(days=day))
    assert Alert.objects.get().closing == "evidence_gone"


def test_mail_put_back_by_a_clock_that_was_ahead_is_due_at_once(practice):
    fields = {"practice": practice, "kind": "urgent", "recipient": "c@example.org", "created_at": NOW}
    ahead = MailRow.objects.create(**fields, key="ahead", next_at=NOW + timedelta(days=1000))
    MailRow.objects.create(**fields, key="backed off", next_at=NOW + timedelta(hours=26))
    assert list(due_at(MailRow.objects.all(), NOW)) == [ahead]


@pytest.mark.parametrize(("days", "skipped"), [(3, 0), (10, 0), (14, 0), (20, 6)])
def test_an_outage_is_caught_up_in_order_and_told_of_in_one_mail(practice, days, skipped):
    run(NOW)
    MailRow.objects.all().delete()
    run(NOW + timedelta(days=days))
    nights = Night.objects.filter(practice=practice, night_on__gt=NOW.date()).order_by("night_on")
    assert [night.status for night in nights] == ["skipped"] * skipped + ["done"] * (days - skipped)
    began = list(nights.filter(status="done").values_list("night_clients__id", flat=True))
    assert began == sorted(began)
    assert MailRow.objects.get().payload["on"] == str(NOW.date() + timedelta(days=days))


def test_the_mail_after_an_outage_says_what_ran_together_and_what_was_too_far_back(practice, mailoutbox):
    run(NOW)
    MailRow.objects.all().delete()
    run(NOW + timedelta(days=20))
    send_due_mail(now=NOW + timedelta(days=20), budget=Budget.of(20))
    (mail,) = mailoutbox
    assert "13 earlier nights ran together with this one. This is the one mail for all of them." in mail.body
    assert "6 nights before them were too far back and did not run." in mail.body
