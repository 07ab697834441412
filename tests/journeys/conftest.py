"""What journeys on the real services share: a database, its role and a Redis number of their own."""

import os
import secrets
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
import redis
from psycopg import sql

from tests.compose_file import COMPOSE, command_of
from tests.journeys.processes import BIN, ROOT, environment

OWNER_URL = os.environ.get("MIGRATION_DATABASE_URL") or os.environ.get("DATABASE_URL", "")


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
    return tmp_path_factory.mktemp("journey")


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
