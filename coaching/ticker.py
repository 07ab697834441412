"""The embedded clock: one thread of the served process that does what is due, without a broker."""

import os
import platform
import threading
import time
from collections.abc import Callable
from datetime import timedelta

import structlog
from django.db import connections

from coaching.budget import Budget, nobody_asks_to_stop
from coaching.emails import send_due_mail
from coaching.operations.leases import holder_of, release_lease, take_lease
from coaching.operations.mail import is_any_due
from coaching.reads.clock import shared_now
from coaching.tick import BUDGET_S, MAX_MAILS, tick

LEASE_NAME = "ticker"
# Longer than one tick, yet an urgent mail still leaves within a minute when the holder has died.
LEASE_LASTS = timedelta(seconds=45)
TICK_EVERY_S = 60.0
RENEW_EVERY_S = 15.0
POLL_EVERY_S = 5.0

log = structlog.get_logger("ticker")


def holder_here(pid: int) -> str:
    """How a served process of this machine names itself in the lease."""
    return f"{platform.node()}:{pid}"


def is_dead_here(holder: str) -> bool:
    """Whether the holder was a process of this machine that is gone: its lease need not run out."""
    node, _, pid = holder.rpartition(":")
    if node != platform.node() or not pid.isdecimal():
        return False
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


class Ticker:
    """A full tick each minute, and a look every few seconds whether a mail waits.

    `holder` names the served process in the lease row. Two tickers at once would be harmless, since all work
    is claimed row by row; the lease only saves them from doing each other's looking. A tick under way ends
    after the chunk or mail at hand when `stop` is called, or `is_process_stopping` says so before.
    """

    def __init__(
        self,
        *,
        holder: str,
        tick_every_s: float = TICK_EVERY_S,
        poll_every_s: float = POLL_EVERY_S,
        is_process_stopping: Callable[[], bool] = nobody_asks_to_stop,
    ) -> None:
        self.holder = holder[:80]
        self._is_process_stopping = is_process_stopping
        self.tick_every_s = tick_every_s
        self.poll_every_s = poll_every_s
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="ticker", daemon=True)
        self._tick_at_s = 0.0
        self._renew_at_s = 0.0

    def start(self) -> None:
        self._thread.start()

    def stop(self, *, wait_s: float) -> bool:
        """Tell the thread to end and wait for it; a tick cut off by the process's end is done again later."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(wait_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        log.info("ticker_started", holder=self.holder)
        while not self._is_stopping():
            self._guard(self._round)
            self._stopping.wait(self.poll_every_s)
        self._guard(self._release)
        log.info("ticker_stopped", holder=self.holder)

    def _is_stopping(self) -> bool:
        return self._stopping.is_set() or self._is_process_stopping()

    def _guard(self, step: Callable[[], None]) -> None:
        """Run one step on connections of its own; whatever it raises is logged by name and tried again."""
        try:
            step()
        except Exception as error:  # a database that is away for a while must not end the clock
            log.error("ticker_failed", error=type(error).__name__)
            self._renew_at_s = 0.0
        finally:
            connections.close_all()

    def _round(self) -> None:
        if not self._holds_lease():
            return
        if time.monotonic() >= self._tick_at_s:
            self._tick_at_s = time.monotonic() + self.tick_every_s
            while (report := tick(now=shared_now(), budget=self._budget())).is_cut_short:
                if self._is_stopping() or not self._holds_lease():
                    return
            if not report.nights.is_complete:  # what another, or a dead one, has claimed
                self._tick_at_s = time.monotonic()
        elif is_any_due(now := shared_now()):
            send_due_mail(now=now, budget=self._budget(), limit=MAX_MAILS)

    def _budget(self) -> Budget:
        return Budget.of(BUDGET_S, self._is_stopping)

    def _holds_lease(self) -> bool:
        if time.monotonic() < self._renew_at_s:
            return True
        holder = holder_of(name=LEASE_NAME)
        if holder is not None and is_dead_here(holder):
            release_lease(name=LEASE_NAME, holder=holder)
        if not take_lease(name=LEASE_NAME, holder=self.holder, now=shared_now(), lasts=LEASE_LASTS):
            return False
        self._renew_at_s = time.monotonic() + RENEW_EVERY_S
        return True

    def _release(self) -> None:
        release_lease(name=LEASE_NAME, holder=self.holder)
