"""How the Celery app is set up: a message is only a bell, and losing or doubling it must not matter."""

import threading
from types import SimpleNamespace

import pytest
from django.conf import settings

from coaching import tasks
from coaching.celery import app, ring
from coaching.models import MailRow, Night, NightClient, NightStatus, Score
from tests.journeys.processes import free_port


@pytest.mark.django_db(transaction=True)
def test_the_task_does_what_is_due(cast):
    tasks.run_tick()
    assert {night.status for night in Night.objects.all()} == {NightStatus.DONE}


@pytest.mark.django_db(transaction=True)
def test_the_same_message_delivered_ten_times_is_as_once(cast):
    tasks.run_tick()
    once = [list(model.objects.order_by("pk").values()) for model in (Night, NightClient, Score, MailRow)]
    for _ in range(9):
        tasks.run_tick()
    again = [list(model.objects.order_by("pk").values()) for model in (Night, NightClient, Score, MailRow)]
    assert once == again
    assert all(once)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(("is_cut_short", "rung"), [(True, 1), (False, 0)])
def test_a_night_that_was_cut_short_is_rung_for(monkeypatch, is_cut_short, rung):
    bells = []
    monkeypatch.setattr(tasks, "tick", lambda **_: SimpleNamespace(is_cut_short=is_cut_short))
    monkeypatch.setattr(tasks, "ring", lambda: bells.append(1))
    tasks.run_tick()
    assert len(bells) == rung


@pytest.mark.django_db(transaction=True)
def test_what_goes_wrong_in_a_tick_is_told_to_celery(monkeypatch):
    def fail(**_):
        raise ZeroDivisionError

    monkeypatch.setattr(tasks, "tick", fail)
    with pytest.raises(ZeroDivisionError):
        tasks.run_tick()


@pytest.mark.django_db(transaction=True)
def test_a_tick_that_does_not_end_is_left_behind_when_the_worker_stops(monkeypatch):
    let_go = threading.Event()
    monkeypatch.setattr(tasks, "tick", lambda **_: let_go.wait(30))
    monkeypatch.setattr(tasks, "is_stopping", lambda: True)
    monkeypatch.setattr(tasks, "ENDS_WITHIN_S", 0.1)
    tasks.run_tick()
    assert not let_go.is_set()
    let_go.set()


def test_a_bell_at_a_broker_that_is_away_is_no_error(settings, monkeypatch):
    monkeypatch.setattr(app.conf, "broker_url", f"redis://127.0.0.1:{free_port()}/0")
    monkeypatch.setattr(app.conf, "broker_write_url", f"redis://127.0.0.1:{free_port()}/0")
    ring()


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
