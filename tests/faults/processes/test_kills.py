"""kill -9 of worker, pool child, beat and web at random moments of a night, while devices post."""

import os
import random
import signal

import pytest

pytestmark = pytest.mark.servers

KILLS = 200
KILLS_OF_A_ROUND = 20


def kill_a_child(kept):
    """One process of the worker's pool; the worker itself lives on."""
    children = kept.children()
    if children:
        os.kill(random.Random(len(children)).choice(children), signal.SIGKILL)


def kill_at_random(round_, *, times, chance, pause_s=(0.0, 1.0)):
    service = round_.service
    hits = [
        ("kill -9 worker", lambda: service.kill("worker")),
        ("kill -9 worker", lambda: service.kill("worker")),
        ("kill -9 one child of the worker's pool", lambda: kill_a_child(service.kept["worker"])),
        ("kill -9 web", lambda: service.kill("web")),
        ("kill -9 beat", lambda: service.kill("beat")),
    ]
    round_.strike_while_it_runs(hits, times=times, chance=chance, pause_s=pause_s)


def recovered_in_s(round_):
    def measure(strike):
        is_web = strike.fault == "kill -9 web"
        return round_.posts_recovered_in_s(strike) if is_web else round_.night_recovered_in_s(strike)

    return measure


def test_a_night_with_kills_loses_and_doubles_nothing(small_bench, ledger):
    with small_bench.round() as night:
        night.start()
        kill_at_random(night, times=4, chance=random.Random(1), pause_s=(0.0, 0.2))
        night.settle(ledger, recovered=recovered_in_s(night))


@pytest.mark.faults
def test_two_hundred_kills_over_nights_of_five_hundred_lose_and_double_nothing(bench, ledger):
    chance, kills = random.Random(20), 0
    while kills < KILLS:
        with bench.round() as night:
            night.start()
            kill_at_random(night, times=KILLS_OF_A_ROUND, chance=chance)
            kills += len(night.strikes)
            night.settle(ledger, recovered=recovered_in_s(night))


@pytest.mark.faults
def test_the_embedded_default_killed_again_and_again_loses_and_doubles_nothing(embedded_bench, ledger):
    chance = random.Random(3)
    with embedded_bench.round() as night:
        night.start()
        kills = [("kill -9 the embedded default (SQLite)", lambda: night.service.kill("serve"))]
        night.strike_while_it_runs(kills, times=15, chance=chance, pause_s=(0.0, 0.5))
        night.settle(ledger)
        assert night.rows("PRAGMA integrity_check") == [("ok",)]
