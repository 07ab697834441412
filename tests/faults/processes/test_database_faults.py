"""PostgreSQL's connections cut and the server killed and restarted, under a night and a stream of posts."""

import random
import time

import pytest

pytestmark = [pytest.mark.servers, pytest.mark.faults]

CUT = (
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
    "WHERE datname = current_database() AND usename = 'forbear_app'"
)
WARM_AFTER = 40  # posts: a process that has just started has yet to load itself
ANSWERS_WITHIN_S = 6.0  # five to wait for the database, and what a busy machine adds


def test_a_night_whose_connections_are_cut_loses_and_doubles_nothing(bench, ledger):
    with bench.round() as night:
        night.start()
        cuts = [("all connections cut", lambda: night.rows(CUT))]
        night.strike_while_it_runs(cuts, times=30, chance=random.Random(6), pause_s=(0.0, 1.0))
        night.settle(ledger)


def test_a_server_killed_under_a_night_and_posts_loses_and_doubles_nothing(bench, ledger):
    chance = random.Random(7)
    with bench.round() as night:
        night.start()
        for _ in range(10):
            night.strike("kill -9 PostgreSQL, started again", bench.postgresql.restart)
            time.sleep(chance.uniform(1.0, 4.0))
        night.settle(ledger, recovered=night.posts_recovered_in_s)


def test_while_the_server_is_away_posts_are_told_when_to_come_again_within_seconds(bench, ledger):
    with bench.round() as night:
        night.start()
        posted = night.devices.posted
        while len(posted.acknowledged) < WARM_AFTER:
            time.sleep(0.1)
        posted.longest_s = 0.0
        bench.postgresql.kill()
        try:
            time.sleep(12)
            assert posted.statuses.get(503)
            assert not posted.statuses.get(500) and not posted.without_retry_after
            assert posted.longest_s < ANSWERS_WITHIN_S
        finally:
            bench.postgresql.start()
        night.strike("PostgreSQL away for 12 s", lambda: None)
        night.settle(ledger, recovered=night.posts_recovered_in_s)
