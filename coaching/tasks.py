"""Celery's door: read the clock, make one call, and ring again where a night was cut short."""

import threading
from concurrent.futures import Future

from django.db import connections

from coaching.budget import Budget
from coaching.celery import app, is_stopping, ring
from coaching.reads.clock import shared_now
from coaching.tick import BUDGET_S, TickReport, tick

LOOKS_EVERY_S = 0.5
# What a tick at a mail server that hangs is given once the worker is asked to end; its mail falls due again.
ENDS_WITHIN_S = 4.0


@app.task
def run_tick() -> None:
    """What is due and not done; lost, late or doubled messages change nothing."""
    report = _unless_left()
    if report is not None and report.is_cut_short:
        ring()


def _unless_left() -> TickReport | None:
    """The tick, on a thread of its own, so that a stop need not wait for it; None if it was left behind."""
    done: Future[TickReport] = Future()
    thread = threading.Thread(target=_tick, args=(done,), name="tick", daemon=True)
    thread.start()
    while thread.is_alive() and not is_stopping():
        thread.join(LOOKS_EVERY_S)
    thread.join(ENDS_WITHIN_S)
    return done.result() if done.done() else None


def _tick(done: "Future[TickReport]") -> None:
    try:
        done.set_result(tick(now=shared_now(), budget=Budget.of(BUDGET_S, is_stopping)))
    except BaseException as error:  # told where the task is awaited
        done.set_exception(error)
    finally:
        connections.close_all()
