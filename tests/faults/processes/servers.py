"""A PostgreSQL and a Redis of the bench's own, on free ports, which may be killed, frozen and emptied."""

import os
import pwd
import shutil
import signal
import subprocess
import time
from pathlib import Path

import psycopg
import redis

from tests.journeys.processes import free_port

OWNER, SERVICE, BASE = "forbear_owner", "forbear_app", "forbear"
# What makes an answered commit last, said aloud although it is the default.
DURABLE = ("fsync=on", "synchronous_commit=on", "full_page_writes=on")


def find_initdb() -> Path | None:
    on_path = shutil.which("initdb")
    found = [Path(on_path).resolve()] if on_path else sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1] if found else None


def are_installed() -> bool:
    return find_initdb() is not None and shutil.which("redis-server") is not None


class Server:
    """One process in a group of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self.process: subprocess.Popen[bytes] | None = None

    def command(self) -> list[str]:
        raise NotImplementedError

    def answers(self) -> bool:
        raise NotImplementedError

    def user(self) -> str | None:
        return None

    def start(self, within_s: float = 60) -> None:
        """Until it answers. After a kill PostgreSQL refuses to start before its last children have ended."""
        until = time.monotonic() + within_s
        while not self.answers():
            assert time.monotonic() < until, f"{type(self).__name__} did not answer within {within_s} s"
            if self.process is None or self.process.poll() is not None:
                self._launch()
            time.sleep(0.05)

    def _launch(self) -> None:
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                self.command(),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                user=self.user(),
                cwd=self.folder,
                start_new_session=True,
            )

    def signal(self, number: int) -> None:
        assert self.process is not None
        os.killpg(self.process.pid, number)

    def freeze(self) -> None:
        self.signal(signal.SIGSTOP)

    def thaw(self) -> None:
        self.signal(signal.SIGCONT)

    def kill(self) -> None:
        """As a power cut would, but for the disk's own cache."""
        if self.process is None or self.process.poll() is not None:
            return
        self.signal(signal.SIGKILL)
        self.process.wait(10)

    def restart(self) -> None:
        self.kill()
        self.start()


class OwnPostgresql(Server):
    """A cluster in a folder; PostgreSQL refuses to run as root, so then it runs as postgres."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        initdb = find_initdb()
        assert initdb is not None
        self.bin = initdb.parent
        self.cluster = folder / "cluster"
        self.cluster.mkdir(mode=0o700, parents=True)
        if self.user():
            shutil.chown(folder, "postgres")
            shutil.chown(self.cluster, "postgres")
        subprocess.run(
            [str(initdb), "-D", str(self.cluster), "-U", "postgres", "-A", "trust", "--no-instructions"],
            user=self.user(),
            cwd=folder,
            check=True,
            capture_output=True,
            timeout=120,
        )

    def user(self) -> str | None:
        return "postgres" if os.getuid() == 0 and pwd.getpwnam("postgres") else None

    def command(self) -> list[str]:
        settings = (
            f"port={self.port}",
            "listen_addresses=127.0.0.1",
            f"unix_socket_directories={self.folder}",
        )
        words = [word for setting in (*settings, *DURABLE) for word in ("-c", setting)]
        return [str(self.bin / "postgres"), "-D", str(self.cluster), *words]

    def answers(self) -> bool:
        try:
            with self.connect("postgres"):
                return True
        except psycopg.OperationalError:
            return False

    def connect(self, database: str) -> psycopg.Connection:
        return psycopg.connect(self.url("postgres", database), autocommit=True, connect_timeout=5)

    def url(self, role: str, database: str) -> str:
        return f"postgres://{role}@127.0.0.1:{self.port}/{database}"

    def copy(self, source: str, name: str) -> None:
        with self.connect("postgres") as server:
            server.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
            server.execute(f"CREATE DATABASE {name} TEMPLATE {source} OWNER {OWNER}")

    def make_roles(self) -> None:
        with self.connect("postgres") as server:
            server.execute(f"CREATE ROLE {OWNER} LOGIN CREATEROLE")
            server.execute(f"CREATE DATABASE {BASE} OWNER {OWNER}")


class OwnRedis(Server):
    """It keeps nothing: started again it is empty."""

    def command(self) -> list[str]:
        return [
            *("redis-server", "--port", str(self.port), "--bind", "127.0.0.1"),
            *("--save", "", "--appendonly", "no", "--dir", str(self.folder)),
        ]

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def client(self) -> redis.Redis:
        return redis.Redis(port=self.port, socket_timeout=2, socket_connect_timeout=2)

    def answers(self) -> bool:
        try:
            with self.client() as asked:
                return bool(asked.ping())
        except redis.RedisError:
            return False
