"""Databases of the fault tests' own: each a copy of the suite's, filled, and put back before each run."""

import shutil
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings
from django.db import connection
from psycopg import sql

WORDS = {"user": "USER", "password": "PASSWORD", "host": "HOST", "port": "PORT"}


class SqliteCopies:
    """Files in a folder, and beside each what it is put back to."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def copy_of_the_suites(self, name: str) -> str:
        path = self._folder / f"{name}.sqlite3"
        with connection.cursor() as cursor:
            cursor.execute("VACUUM INTO %s", [str(path)])
        return str(path)

    def keep(self, path: str) -> None:
        """What the database holds now is what `put_back` brings back; nobody is connected."""
        shutil.copyfile(path, path + ".kept")

    def put_back(self, path: str) -> None:
        self.drop(path)
        shutil.copyfile(path + ".kept", path)

    def drop(self, path: str) -> None:
        for ending in ("", "-wal", "-shm"):
            Path(path + ending).unlink(missing_ok=True)

    @staticmethod
    def connect(path: str) -> None:
        """From now on this process, a child, knows no other database; the parent's is left alone."""
        connection.connection = None
        connection.settings_dict["NAME"] = path

    @staticmethod
    def disconnect() -> None:
        connection.close()

    @staticmethod
    def wait_for_locks(at_most_s: float) -> None:
        """Whoever stands still for this process to end must not be waited for."""
        connection.settings_dict["OPTIONS"] |= {"timeout": at_most_s}


class PostgresqlCopies:
    """Databases of the same server, and in each a schema with what it is put back to.

    Making one anew for each run would take the server a checkpoint each, most of all the work.
    """

    def __init__(self) -> None:
        self._suites = str(connection.settings_dict["NAME"])

    def copy_of_the_suites(self, name: str) -> str:
        self.disconnect()
        name = f"{self._suites}_{name}"[:63]
        self.drop(name)
        with _as_owner("postgres") as server:
            server.execute(END_OTHERS, [self._suites])  # what earlier tests left open would be in the way
            server.execute(_named("CREATE DATABASE {} TEMPLATE {}", name, self._suites))
        return name

    def keep(self, name: str) -> None:
        with _as_owner(name) as server:
            server.execute("CREATE SCHEMA kept")
            for table in _tables(server):
                server.execute(_named("CREATE TABLE kept.{} AS TABLE public.{}", table, table))

    def put_back(self, name: str) -> None:
        """Ends whoever is left there; foreign keys and the guard of the trail are off meanwhile."""
        with _as_owner(name) as server, server.transaction():
            server.execute(END_OTHERS, [name])
            server.execute("SET LOCAL session_replication_role = replica")
            for table in _tables(server):
                if server.execute(_named(DIFFERS, *[table] * 4)).fetchone() is not None:
                    server.execute(_named("DELETE FROM public.{}", table))
                    server.execute(_named("INSERT INTO public.{} SELECT * FROM kept.{}", table, table))

    def drop(self, name: str) -> None:
        with _as_owner("postgres") as server:
            server.execute(_named("DROP DATABASE IF EXISTS {} WITH (FORCE)", name))

    @staticmethod
    def connect(name: str) -> None:
        connection.settings_dict["NAME"] = name

    @staticmethod
    def disconnect() -> None:
        """Nothing is left of a connection that a child could take for its own."""
        connection.close()
        connection.close_pool()

    @staticmethod
    def wait_for_locks(at_most_s: float) -> None:
        connection.settings_dict["OPTIONS"] |= {"options": f"-c lock_timeout={int(at_most_s * 1000)}"}


END_OTHERS = """
    SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s AND pid <> pg_backend_pid()
"""
DIFFERS = """
    (SELECT 1 FROM (TABLE public.{} EXCEPT TABLE kept.{}) AS more LIMIT 1)
    UNION ALL (SELECT 1 FROM (TABLE kept.{} EXCEPT TABLE public.{}) AS less LIMIT 1)
"""
Copies = SqliteCopies | PostgresqlCopies


def copies_in(folder: Path) -> Copies:
    return PostgresqlCopies() if connection.vendor == "postgresql" else SqliteCopies(folder)


def _as_owner(name: str) -> "psycopg.Connection[Any]":
    owner: dict[str, Any] = settings.DATABASE_OWNER or connection.settings_dict
    words = {word: owner[key] for word, key in WORDS.items() if owner.get(key)}
    return psycopg.connect(dbname=name, autocommit=True, **words)


def _named(statement: str, *names: str) -> sql.Composed:
    return sql.SQL(statement).format(*map(sql.Identifier, names))


def _tables(server: "psycopg.Connection[Any]") -> list[str]:
    rows = server.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY tablename")
    return [str(name) for (name,) in rows]
