"""The ticker thread, on a real database that its own connection can see."""

import os
import subprocess
import threading
from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.utils import timezone

from coaching import ticker as ticker_module
from coaching.models import Lease, MailKind
from coaching.operations.leases import take_lease
from coaching.operations.mail import enqueue_mail
from coaching.ticker import LEASE_LASTS, LEASE_NAME, Ticker, holder_here
from tests.factories import PracticeFactory

pytestmark = pytest.mark.django_db(transaction=True)
WITHIN_S = 5.0


class Calls:
    """Stands in for the work, so that these tests are about when it is called."""

    def __init__(self, fails_first: int = 0, cut_short: int = 0, is_complete: bool = True) -> None:
        self.fails_left = fails_first
        self.cut_short = cut_short
        self.is_complete = is_complete
        self.happened = threading.Semaphore(0)

    def __call__(self, **_: object) -> SimpleNamespace:
        self.happened.release()
        if self.fails_left:
            self.fails_left -= 1
            raise OSError("the database is away")
        self.cut_short -= 1
        return SimpleNamespace(
            is_cut_short=self.cut_short >= 0, nights=SimpleNamespace(is_complete=self.is_complete)
        )

    def come(self, times: int = 1) -> bool:
        return all(self.happened.acquire(timeout=WITHIN_S) for _ in range(times))

    def stay_away(self) -> bool:
        return not self.happened.acquire(timeout=0.5)


@pytest.fixture
def ticks(monkeypatch) -> Calls:
    calls = Calls()
    monkeypatch.setattr(ticker_module, "tick", calls)
    return calls


@pytest.fixture
def mails(monkeypatch) -> Calls:
    calls = Calls()
    monkeypatch.setattr(ticker_module, "send_due_mail", calls)
    return calls


@pytest.fixture
def running():
    """Starts tickers and stops them at the end of the test."""
    started: list[Ticker] = []

    def run(tick_every_s: float = 60.0, holder: str = "this one") -> Ticker:
        ticker = Ticker(holder=holder, tick_every_s=tick_every_s, poll_every_s=0.05)
        ticker.start()
        started.append(ticker)
        return ticker

    yield run
    assert all(ticker.stop(wait_s=WITHIN_S) for ticker in started)


def put_mail() -> None:
    enqueue_mail(
        practice_id=PracticeFactory().id,
        kind=MailKind.URGENT,
        recipient="carl@example.org",
        key="urgent:1",
        payload={},
        now=timezone.now(),
    )


def test_it_ticks_at_once_and_then_waits(ticks, mails, running):
    running()
    assert ticks.come()
    assert ticks.stay_away()


def test_it_ticks_again_when_the_time_has_come(ticks, mails, running):
    running(tick_every_s=0.1)
    assert ticks.come(times=3)


def test_a_waiting_mail_is_sent_between_ticks(ticks, mails, running):
    running()
    assert ticks.come()
    assert mails.stay_away()
    put_mail()
    assert mails.come()


def test_a_tick_that_was_cut_short_is_followed_by_another_at_once(monkeypatch, mails, running):
    ticks = Calls(cut_short=2)
    monkeypatch.setattr(ticker_module, "tick", ticks)
    running()
    assert ticks.come(times=3)
    assert ticks.stay_away()


def test_a_night_whose_clients_somebody_else_has_is_looked_at_again_soon(monkeypatch, mails, running):
    ticks = Calls(is_complete=False)
    monkeypatch.setattr(ticker_module, "tick", ticks)
    running()
    assert ticks.come(times=3)


def test_an_exception_does_not_end_it(monkeypatch, mails, running):
    ticks = Calls(fails_first=2)
    monkeypatch.setattr(ticker_module, "tick", ticks)
    running(tick_every_s=0.1)
    assert ticks.come(times=4)


def test_it_does_nothing_while_another_holds_the_lease(ticks, mails, running):
    take_lease(name=LEASE_NAME, holder="another", now=timezone.now(), lasts=LEASE_LASTS)
    running()
    assert ticks.stay_away()


def test_it_takes_over_when_the_lease_of_a_dead_one_has_run_out(ticks, mails, running):
    long_ago = timezone.now() - timedelta(minutes=5)
    take_lease(name=LEASE_NAME, holder="another", now=long_ago, lasts=LEASE_LASTS)
    running()
    assert ticks.come()


def test_it_takes_over_at_once_from_a_process_of_this_machine_that_is_gone(ticks, mails, running):
    gone = subprocess.Popen(["true"])
    gone.wait()
    take_lease(name=LEASE_NAME, holder=holder_here(gone.pid), now=timezone.now(), lasts=LEASE_LASTS)
    running()
    assert ticks.come()


def test_it_leaves_the_lease_to_a_process_of_this_machine_that_lives(ticks, mails, running):
    take_lease(name=LEASE_NAME, holder=holder_here(os.getpid()), now=timezone.now(), lasts=LEASE_LASTS)
    running()
    assert ticks.stay_away()


def test_it_stops_when_its_process_is_asked_to(ticks, mails):
    asked = threading.Event()
    ticker = Ticker(holder="this one", poll_every_s=0.05, is_process_stopping=asked.is_set)
    ticker.start()
    assert ticks.come()
    asked.set()
    ticker._thread.join(WITHIN_S)
    assert not ticker._thread.is_alive()
    assert not Lease.objects.exists()


def test_the_same_holder_takes_up_its_lease_at_once(ticks, mails, running):
    take_lease(name=LEASE_NAME, holder="this one", now=timezone.now(), lasts=LEASE_LASTS)
    running()
    assert ticks.come()


def test_it_stops_within_seconds_and_gives_the_lease_back(ticks, mails, running):
    ticker = running()
    assert ticks.come()
    assert ticker.stop(wait_s=WITHIN_S)
    assert not Lease.objects.exists()


def test_a_ticker_that_never_started_can_be_stopped():
    assert Ticker(holder="idle").stop(wait_s=0)
