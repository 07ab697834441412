"""The compose file's own command lines, run against a real PostgreSQL and Redis: migrate, web, worker, beat.

The database, its role without DDL and the Redis database number belong to this test alone.
"""

import os
import secrets
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
import redis
from psycopg import sql

from tests.compose_file import COMPOSE, command_of
from tests.journeys.processes import BIN, ROOT, Served, answers, environment, free_port, wait_until

pytestmark = [pytest.mark.postgresql, pytest.mark.redis]
OWNER_URL = os.environ.get("MIGRATION_DATABASE_URL") or os.environ.get("DATABASE_URL", "")
STARTS_WITHIN_S = 60.0
TICKS_WITHIN_S = 60.0
STOPS_WITHIN_S = 20.0


@dataclass(frozen=True)
class OwnDatabase:
    name: str
    role: str
    password: str

    @property
    def owner_url(self) -> str:
        return urlunsplit(urlsplit(OWNER_URL)._replace(path=f"/{self.name}"))

    @property
    def app_url(self) -> str:
        parts = urlsplit(self.owner_url)
        host = parts.netloc.rpartition("@")[2]
        return urlunsplit(parts._replace(netloc=f"{self.role}:{self.password}@{host}"))

    def make_role(self) -> None:
        """What the db service does at its first start, with this test's role."""
        script = COMPOSE["configs"]["roles"]["content"].replace("forbear_app", self.role)
        subprocess.run(
            ["psql", "--no-psqlrc", "--set", "ON_ERROR_STOP=1", "--quiet", self.owner_url],
            input=script.replace("$$", "$"),
            env={**os.environ, "POSTGRES_APP_PASSWORD": self.password},
            text=True,
            check=True,
            timeout=30,
        )


@pytest.fixture(scope="module")
def database() -> Iterator[OwnDatabase]:
    tag = secrets.token_hex(4)
    own = OwnDatabase(f"forbear_compose_{tag}", f"forbear_app_{tag}", secrets.token_hex(12))
    server = urlunsplit(urlsplit(OWNER_URL)._replace(path="/postgres"))
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(own.name)))
        try:
            own.make_role()
            yield own
        finally:
            connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(own.name)))
            connection.execute(sql.SQL("DROP ROLE IF EXISTS {}").format(sql.Identifier(own.role)))


@pytest.fixture(scope="module")
def redis_url() -> Iterator[str]:
    """An empty database number of the given Redis, emptied again afterwards."""
    for number in range(15, 0, -1):
        address = urlunsplit(urlsplit(os.environ["REDIS_URL"])._replace(path=f"/{number}"))
        with redis.Redis.from_url(address) as connection:
            if connection.dbsize() == 0 and connection.set("taken_by_a_test", 1, nx=True):
                yield address
                connection.flushdb()
                return
    raise AssertionError("this Redis has no empty database number for the test")


@pytest.fixture(scope="module")
def var(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("compose")


@pytest.fixture(scope="module")
def migrated(database: OwnDatabase, var: Path) -> OwnDatabase:
    words = command_of("migrate").words
    done = subprocess.run(
        [BIN / words[0], *words[1:]],
        cwd=ROOT,
        env=environment(var, DATABASE_URL=database.app_url, MIGRATION_DATABASE_URL=database.owner_url),
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return database


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
