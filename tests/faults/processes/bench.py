"""The servers and the practice that all rounds begin from."""

import json
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.faults.processes.mail_server import MailServer
from tests.faults.processes.rounds import ALERTS, Round
from tests.faults.processes.servers import BASE, OwnPostgresql, OwnRedis
from tests.faults.processes.service import Service, run_python
from tests.faults.processes.stores import PostgresqlStore, SqliteStore, Store


@dataclass
class World:
    """What the bench knows of the practice: who posts, who is mailed, what a calm night raises."""

    clients: int
    nights: int
    tokens: list[str]
    coaches: list[str]
    alerts: list[tuple[Any, ...]] = field(default_factory=list)


class Bench:
    """Rounds with worker, beat and web on PostgreSQL and Redis."""

    processes: tuple[str, ...] = ("web", "beat", "worker")

    world: World

    def __init__(self, folder: Path) -> None:
        folder.chmod(0o755)  # PostgreSQL's own user must come through
        self.folder = folder
        self.rounds = 0
        self.start_servers()

    def prepare(self, **sizes: int) -> None:
        self.world = self._make_world(sizes)
        self.world.alerts = self._alerts_of_a_calm_night()
        assert self.world.alerts, "the practice raises no alert: nothing could be lost"

    def start_servers(self) -> None:
        self.postgresql = OwnPostgresql(self.folder / "postgresql")
        (self.folder / "redis").mkdir()
        self.redis = OwnRedis(self.folder / "redis")
        self.postgresql.start()
        self.redis.start()
        self.postgresql.make_roles()

    def end(self) -> None:
        self.redis.kill()
        self.postgresql.kill()

    def base(self) -> Store:
        return PostgresqlStore(self.postgresql, BASE)

    def copy(self, name: str) -> Store:
        self.postgresql.copy(BASE, name)
        return PostgresqlStore(self.postgresql, name)

    def service(self, name: str, store: Store, email_url: str) -> Service:
        return Service(self.folder / name, store.env, redis_url=self.redis.url, email_url=email_url)

    def round(self) -> Round:
        self.rounds += 1
        name = f"round_{self.rounds}"
        store, mail = self.copy(name), MailServer()
        return Round(self.world, store, self.service(name, store, mail.url), mail, self.processes)

    def _make_world(self, sizes: Mapping[str, int]) -> World:
        env = self.service("making", self.base(), "smtp://127.0.0.1:9").env
        _succeeded(run_python("manage.py", "migrate", "--no-input", env=env))
        if "MIGRATION_DATABASE_URL" in env:
            _succeeded(run_python("manage.py", "grant_service_role", env=env))
        words = [word for name, size in sizes.items() for word in (f"--{name}", str(size))]
        made = _succeeded(run_python("-m", "tests.faults.processes.world", *words, env=env))
        return World(**json.loads(made.splitlines()[-1]))

    def _alerts_of_a_calm_night(self) -> list[tuple[Any, ...]]:
        calm = self.round()
        try:
            calm.start(has_devices=False)
            calm.wait_until_done()
            return calm.rows(ALERTS)
        finally:
            calm.end()


class EmbeddedBench(Bench):
    """Rounds with the one process of the embedded default, on SQLite and without a broker."""

    processes = ("serve",)

    def start_servers(self) -> None:
        (self.folder / "base").mkdir()

    def end(self) -> None:
        shutil.rmtree(self.folder / "base")

    def base(self) -> Store:
        return _Base({"DATABASE_URL": f"sqlite:///{self._base_file}"})

    @property
    def _base_file(self) -> Path:
        return self.folder / "base" / "forbear.sqlite3"

    def copy(self, name: str) -> Store:
        return SqliteStore(self._base_file, self.folder / f"{name}_rows")

    def service(self, name: str, store: Store, email_url: str) -> Service:
        return Service(self.folder / name, store.env, email_url=email_url)


@dataclass
class _Base:
    env: dict[str, str]

    def ask(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        raise NotImplementedError


def _succeeded(ended: Any) -> str:
    assert ended.returncode == 0, ended.stderr[-4000:]
    return str(ended.stdout)
