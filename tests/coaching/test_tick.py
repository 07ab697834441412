"""One tick on a real database: the due night, and the mail that it wrote."""

from datetime import UTC, datetime

import pytest

from coaching import tick as tick_module
from coaching.budget import Budget
from coaching.models import MailKind, MailRow, MailState, Night, NightStatus
from coaching.nightly import run_due_nights
from coaching.operations.mail import enqueue_mail
from coaching.tick import tick

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def test_a_tick_runs_the_due_night_and_sends_its_mail(cast):
    report = tick(now=NOW)
    assert {night.status for night in Night.objects.all()} == {NightStatus.DONE}
    assert report.nights.finished == 2
    assert report.mail.sent == MailRow.objects.filter(state=MailState.SENT).count() > 0


def test_a_second_tick_finds_nothing_to_do(cast):
    tick(now=NOW)
    rows = list(MailRow.objects.order_by("id").values())
    report = tick(now=NOW)
    assert (report.nights.finished, report.mail.sent) == (0, 0)
    assert list(MailRow.objects.order_by("id").values()) == rows


def test_a_night_that_fails_does_not_hold_back_mail(cast, monkeypatch):
    def fail(**_):
        raise RuntimeError("the night is broken")

    monkeypatch.setattr(tick_module, "run_due_nights", fail)
    enqueue_mail(
        practice_id=cast.practice.id,
        kind=MailKind.MORNING,
        recipient=cast.coach.account.email,
        key="morning:once",
        payload={"membership": cast.coach.id, "on": "2026-03-02"},
        now=NOW,
    )
    with pytest.raises(RuntimeError):
        tick(now=NOW)
    assert MailRow.objects.get().state == MailState.SENT


def test_a_long_night_leaves_time_for_mail(db, monkeypatch):
    budgets = []

    def run_nights(*, now, budget):
        budgets.append(budget.left_s)
        return run_due_nights(now=now, budget=budget)

    monkeypatch.setattr(tick_module, "run_due_nights", run_nights)
    tick(now=NOW, budget=Budget.of(20))
    assert budgets == [pytest.approx(12, abs=1)]
