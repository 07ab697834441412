"""Databases of a test's own, beside the one of the suite: a file, or one made and dropped on the server."""

import json
import os
import subprocess
import sys
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import pytest
from psycopg import sql

from tests.journeys.processes import ROOT, environment

ENGINES = ["sqlite", pytest.param("postgresql", marks=[pytest.mark.postgresql, pytest.mark.roles])]
BEGIN = """
import django
django.setup()
from coaching.models.scope import across_practices
everything = across_practices("a test sees every practice")
everything.__enter__()
"""


@dataclass(frozen=True)
class Ended:
    code: int
    said: str
    warned: str

    def told(self) -> Any:
        assert self.code == 0, self.warned
        return json.loads(self.said)


@dataclass(frozen=True)
class OwnDatabase:
    """Where a process of the service finds it; `owner` is the address of the owner on PostgreSQL."""

    engine: str
    var: Path
    owner: str = ""
    more: dict[str, str] = field(default_factory=dict)

    @property
    def env(self) -> dict[str, str]:
        addresses = {}
        if self.owner:
            service = urlsplit(os.environ["DATABASE_URL"])
            addresses = {
                "MIGRATION_DATABASE_URL": self.owner,
                "DATABASE_URL": service._replace(path=urlsplit(self.owner).path).geturl(),
            }
        made = {
            "DJANGO_SETTINGS_MODULE": "coaching.settings",
            "SECRET_KEY": "own databases of the tests " * 2,
        }
        return environment(self.var, **made, **addresses) | self.more

    def run(self, *words: str, **env: str) -> Ended:
        """A command of manage.py."""
        return self._ended([str(ROOT / "manage.py"), *words], env)

    def python(self, script: str) -> str:
        """What a script prints that sees every practice."""
        done = self._ended(["-c", BEGIN + script], {})
        assert done.code == 0, done.warned[-3000:]
        return done.said.strip()

    def start(self, script: str) -> "subprocess.Popen[str]":
        """The same, while it runs; whoever starts it ends it."""
        return subprocess.Popen(
            [sys.executable, "-c", BEGIN + script], cwd=ROOT, env=self.env, text=True, stdout=subprocess.PIPE
        )

    def _ended(self, words: list[str], env: dict[str, str]) -> Ended:
        done = subprocess.run(
            [sys.executable, *words],
            cwd=ROOT,
            env=self.env | env,
            capture_output=True,
            text=True,
            timeout=300,
        )
        return Ended(done.returncode, done.stdout, done.stderr)

    def migrate(self, *target: str) -> None:
        if self.owner:
            assert self.run("grant_service_role").code == 0
        done = self.run("migrate", "--verbosity", "0", *target)
        assert done.code == 0, done.warned[-3000:]


@contextmanager
def own_database(engine: str, folder: Path) -> Iterator[OwnDatabase]:
    """An empty one, without tables."""
    if engine == "sqlite":
        yield OwnDatabase(engine, folder)
        return
    server = os.environ["MIGRATION_DATABASE_URL"]
    name = f"forbear_own_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(server, autocommit=True) as owner:
        owner.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            yield OwnDatabase(engine, folder, urlsplit(server)._replace(path=f"/{name}").geturl())
        finally:
            owner.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def databases(
    engine: str, tmp_path_factory: pytest.TempPathFactory, count: int
) -> Iterator[list[OwnDatabase]]:
    """For a fixture: so many of them, empty."""
    if count == 0:
        yield []
        return
    with own_database(engine, tmp_path_factory.mktemp(engine)) as one:
        for rest in databases(engine, tmp_path_factory, count - 1):
            yield [one, *rest]
