"""The Celery app and its schedule: one message that means "look what is due", never the work itself."""

import ctypes
import logging.config
import os
from multiprocessing.sharedctypes import RawValue
from typing import Any

import structlog
from celery import Celery
from celery.signals import setup_logging, worker_init, worker_ready, worker_shutting_down
from django.core.management.base import SystemCheckError

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
# Django's checks would load every address of the API, which a worker never serves and which takes longer than
# all the rest of its start. `manage.py` makes them; a worker makes those of what it works with.
os.environ.setdefault("CELERY_SKIP_CHECKS", "1")

app = Celery("coaching", include=["coaching.tasks"])
app.config_from_object("django.conf:settings", namespace="CELERY")

TICK = "coaching.tasks.run_tick"
# As short as a night should lie idle when the bells of workers were lost. A tick that finds nothing to do
# asks some twenty statements (tests/coaching/test_tick.py); on a busy machine that took 24 ms (`tick_done`).
TICK_EVERY_S = 10.0
# Ticks that nobody took do not pile up: one does the work of all. Far longer than to the next one, since a
# worker drops them by its own clock, and beat's may be behind.
TICK_EXPIRES_S = 120.0
app.conf.beat_schedule = {
    "tick": {"task": TICK, "schedule": TICK_EVERY_S, "options": {"expires": TICK_EXPIRES_S}}
}
# Written at each tick, so the age of the schedule file tells whether beat is alive.
app.conf.beat_sync_every = 1

BELL_WITHIN_S = 0.2
BELL_OPTIONS = {"socket_timeout": BELL_WITHIN_S, "socket_connect_timeout": BELL_WITHIN_S, "max_retries": 0}

log = structlog.get_logger("bell")

# Made before the pool's processes are, and without a lock that one of them could die with.
_is_stopping = RawValue(ctypes.c_bool, False)


def is_stopping() -> bool:
    """Whether this worker was asked to end, in each process of its pool."""
    return bool(_is_stopping.value)


@worker_shutting_down.connect
def tell_pool_to_stop(**_: Any) -> None:
    """A tick ends after the chunk or mail at hand, so that a stop does not wait for the whole of it."""
    _is_stopping.value = True


def ring() -> None:
    """Ask for a tick at once. Best effort: whatever is wrong with the broker, the next tick of beat comes."""
    try:
        with app.connection_for_write(transport_options=BELL_OPTIONS) as connection:
            app.send_task(TICK, connection=connection, expires=TICK_EXPIRES_S, retry=False)
    except Exception as error:
        log.info("bell_not_heard", error=type(error).__name__)


@worker_init.connect
def check_models(**_: Any) -> None:
    """A worker with faulty models does not start."""
    from django.core import checks

    found = checks.run_checks(tags=[checks.Tags.models])
    faults = [fault for fault in found if fault.is_serious() and not fault.is_silenced()]
    if faults:
        raise SystemCheckError("\n".join(map(str, faults)))


@worker_ready.connect
def ring_for_oneself(**_: Any) -> None:
    """Who has just started looks at once what a dead worker has left."""
    ring()


@setup_logging.connect
def use_our_log_lines(**_: Any) -> None:
    """Workers and beat log as the served process does; their own format would print task arguments."""
    from django.conf import settings

    logging.config.dictConfig(settings.LOGGING)
