"""Celery's door: read the clock, make one call."""

from django.utils import timezone

from coaching.celery import app
from coaching.tick import tick


@app.task
def run_tick() -> None:
    """What is due and not done; lost, late or doubled messages change nothing."""
    tick(now=timezone.now())
