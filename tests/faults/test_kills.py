"""kill -9 of worker, beat and web at random moments of a night, while devices post."""

import random

import pytest

pytestmark = pytest.mark.servers

KILLS = 200
KILLS_OF_A_NIGHT = 10


def kill_at_random(round_, *, times, chance, pause_s=(0.2, 1.5)):
    hits = [
        (f"kill -9 {name}", lambda name=name: round_.service.kill(name))
        for name in ("worker", "worker", "web", "beat")
    ]
    round_.strike_while_it_runs(hits, times=times, chance=chance, pause_s=pause_s)


def recovered_in_s(round_):
    def measure(strike):
        if strike.fault == "kill -9 web":
            return round_.posts_recovered_in_s(strike)
        return round_.night_recovered_in_s(strike)

    return measure


def test_a_night_with_kills_loses_and_doubles_nothing(small_bench, ledger):
    round_ = small_bench.round()
    try:
        round_.start()
        kill_at_random(round_, times=4, chance=random.Random(1), pause_s=(0.0, 0.2))
        assert round_.strikes
        round_.settle(ledger, recovered=recovered_in_s(round_))
    finally:
        round_.end()


@pytest.mark.faults
def test_two_hundred_kills_over_nights_of_five_hundred_lose_and_double_nothing(bench, ledger):
    chance, kills = random.Random(20), 0
    while kills < KILLS:
        round_ = bench.round()
        try:
            round_.start()
            kill_at_random(round_, times=KILLS_OF_A_NIGHT, chance=chance)
            assert round_.strikes
            kills += len(round_.strikes)
            round_.settle(ledger, recovered=recovered_in_s(round_))
        finally:
            round_.end()
