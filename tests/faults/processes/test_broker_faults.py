"""Redis killed, restarted empty, frozen and flushed in the middle of a night: it holds only bells."""

import random
import time

import pytest

pytestmark = [pytest.mark.servers, pytest.mark.faults]

STRIKES = 20


def away_for(redis, seconds):
    """The night goes on meanwhile, or waits for the next bell."""
    redis.kill()
    time.sleep(seconds)
    redis.start()


def frozen_for(redis, seconds):
    redis.freeze()
    time.sleep(seconds)
    redis.thaw()


def flushed(redis):
    with redis.client() as client:
        client.flushall()


def test_a_night_whose_broker_comes_and_goes_loses_and_doubles_nothing(bench, ledger):
    chance, strikes = random.Random(5), 0
    while strikes < STRIKES:
        with bench.round() as night:
            night.start()
            hits = [
                ("Redis killed, started again empty", bench.redis.restart),
                ("Redis away for 2 s", lambda: away_for(bench.redis, 2)),
                ("Redis frozen for 2 s", lambda: frozen_for(bench.redis, 2)),
                ("Redis emptied", lambda: flushed(bench.redis)),
                ("kill -9 worker", lambda night=night: night.service.kill("worker")),
            ]
            night.strike_while_it_runs(hits, times=10, chance=chance, pause_s=(0.0, 0.5))
            strikes += len(night.strikes)
            night.settle(ledger)


def test_posts_are_acknowledged_while_the_broker_is_away(bench):
    with bench.round() as night:
        night.start()
        bench.redis.kill()
        try:
            before = len(night.devices.posted.acknowledged)
            time.sleep(5)
            assert len(night.devices.posted.acknowledged) > before
        finally:
            bench.redis.start()
        night.wait_until_done()
        night.devices.stop()
        assert night.devices.posted.statuses.keys() == {201}
