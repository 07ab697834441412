"""The compose file's own command lines, run against a real PostgreSQL and Redis: migrate, web, worker, beat.

The database, its role without DDL and the Redis database number belong to this test alone.
"""

import secrets
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest

from tests.compose_file import command_of
from tests.journeys.conftest import OwnDatabase
from tests.journeys.processes import BIN, ROOT, Served, answers, environment, free_port, wait_until

pytestmark = [pytest.mark.postgresql, pytest.mark.redis]
STARTS_WITHIN_S = 60.0
TICKS_WITHIN_S = 60.0
STOPS_WITHIN_S = 10.0


@pytest.fixture(scope="module")
def port() -> int:
    return free_port()


Start = Callable[[str], Served]


@pytest.fixture(scope="module")
def start(migrated: OwnDatabase, redis_url: str, var: Path, port: int) -> Iterator[Start]:
    """Starts a service by its own command line; only addresses, port and file places are the test's."""
    env = environment(
        var,
        DATABASE_URL=migrated.app_url,
        REDIS_URL=redis_url,
        WEB_PORT=str(port),
        SECRET_KEY=secrets.token_urlsafe(48),
    )
    started: list[Served] = []

    def start_service(service: str) -> Served:
        words = [word.replace("/tmp", str(var)) for word in command_of(service).words]
        started.append(Served(words, env, var / f"{service}.log"))
        return started[-1]

    yield start_service
    for process in started:
        process.kill()


@pytest.fixture(scope="module")
def web(start: Start, port: int) -> Served:
    process = start("web")
    wait_until(lambda: answers(f"http://127.0.0.1:{port}/readyz"), "ready", STARTS_WITHIN_S, process)
    return process


@pytest.fixture(scope="module")
def worker(start: Start) -> Served:
    return start("worker")


@pytest.fixture(scope="module")
def beat(start: Start) -> Served:
    return start("beat")


def test_web_is_ready_as_the_role_that_cannot_change_tables(web, migrated):
    with (
        psycopg.connect(migrated.app_url) as connection,
        pytest.raises(psycopg.errors.InsufficientPrivilege),
    ):
        connection.execute("CREATE TABLE anything (id integer)")


def test_the_worker_does_the_ticks_that_beat_sends(worker, beat):
    wait_until(lambda: '"tick_done"' in worker.told(), "ticked", TICKS_WITHIN_S, worker)


def test_beat_writes_its_schedule_file_as_the_health_check_expects(beat, var):
    wait_until(lambda: any(var.glob("beat-schedule*")), "written its schedule", 10, beat)


def test_the_worker_answers_the_ping_of_its_health_check(worker, migrated, redis_url, var):
    wait_until(lambda: "ready." in worker.told(), "ready", STARTS_WITHIN_S, worker)
    asked = subprocess.run(
        [BIN / "celery", "-A", "coaching.celery", "inspect", "ping", "--timeout", "10"],
        cwd=ROOT,
        env=environment(var, DATABASE_URL=migrated.app_url, REDIS_URL=redis_url),
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert "pong" in asked.stdout


def test_told_to_stop_all_end_by_themselves(web, worker, beat):
    assert [process.stop(STOPS_WITHIN_S) for process in (beat, worker, web)] == [0, 0, 0]
