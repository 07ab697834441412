"""A Celery worker of the bare Django, with one task that does nothing."""

from celery import Celery

app = Celery("bare")
app.config_from_object("django.conf:settings", namespace="CELERY")


@app.task
def nothing() -> None:
    """There is nothing to do."""
