"""SIGTERM, and worse, in the middle of a night or of a mail: a quick end, nothing lost, nothing doubled.

The embedded default (one served process), and a Celery worker on PostgreSQL and Redis that no beat rings for.
"""

import secrets
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.journeys.conftest import OwnDatabase
from tests.journeys.mail_servers import MuteServer
from tests.journeys.processes import ROOT, Served, environment, free_port, wait_until

CLIENTS = 1500
STARTS_WITHIN_S = 60.0
NIGHT_WITHIN_S = 120.0
STOPS_WITHIN_S = 10.0
OF_THE_NEWEST = "practice_id = (SELECT max(id) FROM coaching_practice)"
WAYS = [
    "served",
    pytest.param("worker", marks=[pytest.mark.postgresql, pytest.mark.redis]),
]


@dataclass(frozen=True)
class House:
    """One way to run the service, and its database, of which the newest practice is this test's."""

    words: tuple[str, ...]
    env: dict[str, str]
    var: Path
    tell: Callable[[str], Any]

    def start(self, **more: str) -> Served:
        return Served(self.words, self.env | more, self.var / f"{secrets.token_hex(4)}.log")

    def fill(self, clients: int) -> None:
        words = [sys.executable, "-m", "tests.journeys.many_clients", str(clients)]
        subprocess.run(words, cwd=ROOT, env=self.env, check=True, timeout=120)

    def count(self, table: str, condition: str) -> int:
        of_the_newest = f"SELECT count(*) FROM coaching_{table} WHERE {OF_THE_NEWEST} AND {condition}"
        return int(self.tell(of_the_newest)[0])

    def turns(self, condition: str) -> int:
        return self.count("nightclient", condition)

    def is_in_the_middle(self) -> bool:
        return bool(self.turns("state = 'scored'") and self.turns("state = 'todo'"))

    def is_night_done(self) -> bool:
        return bool(self.count("night", "status = 'done'"))

    def is_mail_sent(self) -> bool:
        return bool(self.count("mailrow", "state = 'sent'"))

    def stop_in_the_middle(self, stop: Callable[[Served], object]) -> None:
        process = self.start()
        what = "in the middle of the night"
        wait_until(self.is_in_the_middle, what, STARTS_WITHIN_S, process, every_s=0.02)
        stop(process)
        assert 0 < self.turns("state = 'scored'") < CLIENTS

    def go_on_to_the_end(self) -> None:
        """A new process finishes the night by itself; each client is scored once, each coach mailed once."""
        process = self.start()
        wait_until(self.is_night_done, "the end of the night", NIGHT_WITHIN_S, process)
        wait_until(self.is_mail_sent, "mailed", STARTS_WITHIN_S, process)
        assert process.stop(STOPS_WITHIN_S) == 0
        assert self.turns("state = 'scored'") == CLIENTS
        assert self.count("score", "revision = 0") == self.count("score", "true") == CLIENTS
        assert self.count("mailrow", "true") == 1


def served_house(var: Path) -> House:
    var.mkdir()
    env = environment(var)
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=env, check=True, timeout=120
    )

    def tell(statement: str) -> Any:
        with closing(sqlite3.connect(var / "forbear.sqlite3", timeout=20)) as database, database:
            return database.execute(statement).fetchone()

    return House(("python", "manage.py", "serve", "--port", str(free_port())), env, var, tell)


def worker_house(var: Path, own: OwnDatabase, redis_url: str) -> House:
    """A worker and no beat: what it does, it does because it rang for itself."""
    secret = secrets.token_urlsafe(48)
    env = environment(var, DATABASE_URL=own.app_url, REDIS_URL=redis_url, SECRET_KEY=secret)

    def tell(statement: str) -> Any:
        with psycopg.connect(own.owner_url, options="-c forbear.practice=*") as connection:
            done = connection.execute(statement)
            return done.fetchone() if done.description else None

    words = ("celery", "-A", "coaching.celery", "worker", "--concurrency", "2")
    return House(words, env, var, tell)


@pytest.fixture(params=WAYS)
def house(request: pytest.FixtureRequest, tmp_path: Path) -> House:
    if request.param == "served":
        return served_house(tmp_path / "var")
    asked_for = request.getfixturevalue
    return worker_house(tmp_path, asked_for("migrated"), asked_for("redis_url"))


@pytest.fixture
def mute() -> Iterator[MuteServer]:
    server = MuteServer()
    yield server
    server.close()


def test_asked_to_stop_in_the_middle_of_a_night_it_ends_and_leaves_nothing_claimed(house):
    house.fill(CLIENTS)

    def ask(process: Served) -> None:
        assert process.stop(STOPS_WITHIN_S) == 0

    house.stop_in_the_middle(ask)
    assert house.turns("state = 'todo' AND attempts > 0") == 0
    house.go_on_to_the_end()
    assert house.turns("attempts = 1") == CLIENTS


def test_killed_in_the_middle_of_a_night_its_clients_are_back_in_work_at_the_next_start(house):
    house.fill(CLIENTS)
    house.stop_in_the_middle(Served.kill)
    house.go_on_to_the_end()
    assert house.turns("attempts > 2") == 0


def test_asked_to_stop_while_a_mail_server_says_nothing_it_ends_and_the_mail_is_sent_later(house, mute):
    house.fill(3)
    process = house.start(EMAIL_URL=mute.url)
    wait_until(mute.was_called.is_set, "mailing", STARTS_WITHIN_S, process)
    assert process.stop(STOPS_WITHIN_S) == 0
    assert house.count("mailrow", "state = 'waiting' AND attempts = 1") == 1
    # As when its lease has run out.
    house.tell("UPDATE coaching_mailrow SET next_at = created_at")
    process = house.start()
    wait_until(house.is_mail_sent, "mailed", STARTS_WITHIN_S, process)
    assert process.stop(STOPS_WITHIN_S) == 0
    assert house.count("mailrow", "attempts = 2") == len(list(house.var.glob("outbox/*.eml"))) == 1
