"""How the Celery app is set up: a message is only a bell, and losing or doubling it must not matter."""

import pytest
from django.conf import settings

from coaching import tasks
from coaching.celery import app
from coaching.models import Night, NightStatus


@pytest.mark.django_db(transaction=True)
def test_the_task_does_what_is_due(cast):
    tasks.run_tick()
    assert {night.status for night in Night.objects.all()} == {NightStatus.DONE}


def test_a_task_carries_no_arguments():
    assert all(not entry.get("args") and not entry.get("kwargs") for entry in app.conf.beat_schedule.values())


def test_ticks_that_nobody_took_do_not_pile_up_and_a_beat_whose_clock_is_behind_is_heard():
    entry = app.conf.beat_schedule["tick"]
    assert 60 <= entry["options"]["expires"] <= 20 * entry["schedule"]


def test_a_task_is_taken_off_the_queue_only_when_it_has_ended():
    assert app.conf.task_acks_late
    assert app.conf.task_reject_on_worker_lost


def test_a_task_is_given_to_another_worker_only_after_it_would_have_been_stopped():
    assert app.conf.broker_transport_options["visibility_timeout"] > app.conf.task_time_limit


def test_the_broker_is_the_one_of_the_settings():
    assert app.conf.broker_url == settings.CELERY_BROKER_URL
    assert app.conf.accept_content == ["json"]
