"""Where a round keeps its rows: a copy of the practice's database, asked by queries that both kinds know."""

import shutil
import sqlite3
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

import psycopg

from tests.faults.processes.servers import OWNER, SERVICE, OwnPostgresql

ASKS_AGAIN_FOR_S = 60.0


class Store(Protocol):
    env: dict[str, str]

    def ask(self, query: str, *values: Any) -> list[tuple[Any, ...]]: ...


class PostgresqlStore:
    def __init__(self, server: OwnPostgresql, name: str) -> None:
        self.server, self.name = server, name
        self.env = {
            "DATABASE_URL": server.url(SERVICE, name),
            "MIGRATION_DATABASE_URL": server.url(OWNER, name),
        }

    def ask(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        with self.server.connect(self.name) as connection:
            asked = connection.execute(query.encode(), values)
            return list(asked.fetchall()) if asked.description else []


class SqliteStore:
    """A file of its own; `ask` keeps the write lock no longer than a statement."""

    def __init__(self, source: Path, folder: Path) -> None:
        folder.mkdir(parents=True)
        self.path = folder / "forbear.sqlite3"
        shutil.copyfile(source, self.path)
        self.env = {"DATABASE_URL": f"sqlite:///{self.path}"}

    def ask(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        plain = [_as_stored(value) for value in values]
        with closing(sqlite3.connect(self.path, timeout=20, isolation_level=None)) as connection:
            return list(connection.execute(query.replace("%s", "?"), plain).fetchall())


def _as_stored(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).replace(tzinfo=None).isoformat(" ", "microseconds")
    return value


def asked_patiently(store: Store, query: str, *values: Any) -> list[tuple[Any, ...]]:
    """Asked again while the server is away; that is what some faults are."""
    until = time.monotonic() + ASKS_AGAIN_FOR_S
    while True:
        try:
            return store.ask(query, *values)
        except (psycopg.OperationalError, sqlite3.OperationalError):
            if time.monotonic() > until:
                raise
            time.sleep(0.1)
