"""The Celery app and its schedule: one message that means "look what is due", never the work itself."""

import logging.config
import os
from typing import Any

from celery import Celery
from celery.signals import setup_logging

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")

app = Celery("coaching", include=["coaching.tasks"])
app.config_from_object("django.conf:settings", namespace="CELERY")

# Twice a minute, so that an urgent mail leaves within a minute of its row also when it just missed a tick.
TICK_EVERY_S = 30.0
app.conf.beat_schedule = {
    "tick": {
        "task": "coaching.tasks.run_tick",
        "schedule": TICK_EVERY_S,
        # After an outage one tick does the work of all that were missed.
        "options": {"expires": TICK_EVERY_S - 1},
    }
}
# Written at each tick, so the age of the schedule file tells whether beat is alive.
app.conf.beat_sync_every = 1


@setup_logging.connect
def use_our_log_lines(**_: Any) -> None:
    """Workers and beat log as the served process does; their own format would print task arguments."""
    from django.conf import settings

    logging.config.dictConfig(settings.LOGGING)
