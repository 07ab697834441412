"""A database of the bench's own: a file in its folder, or one made and dropped on the server that is set."""

import os
import resource
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile
from urllib.parse import urlsplit

import psycopg
from django.conf import settings
from psycopg import sql

LOOKS_EVERY_S = 0.01
ROOT = Path(__file__).resolve().parent.parent.parent


class BenchError(Exception):
    """A part of the bench did not end as it should; the sentence says which."""


@dataclass(frozen=True, slots=True)
class Run:
    """What one whole process took, from its start to its end."""

    took_s: float
    processor_s: float
    peak_mb: float
    said: str


@dataclass(frozen=True, slots=True)
class OwnDatabase:
    """`env` is what a process of the service needs to work on it; `owner` is the owner's address there."""

    engine: str
    folder: Path
    env: dict[str, str]
    owner: str = ""

    @property
    def file(self) -> Path:
        return self.folder / "forbear.sqlite3"

    def run(self, *words: str, **env: str) -> Run:
        """A Python process of the service, measured. Raises BenchError if it fails."""
        began = time.monotonic()
        with TemporaryFile() as said, TemporaryFile() as warned:
            process = subprocess.Popen(  # noqa: S603 - our own code  # nosec B603
                [sys.executable, *words], cwd=ROOT, env=self.env | env, stdout=said, stderr=warned
            )
            status, used, peak_mb = _ended(process.pid)
            took_s = time.monotonic() - began
            process.returncode = os.waitstatus_to_exitcode(status)
            said.seek(0)
            warned.seek(0)
            if process.returncode != 0:
                raise BenchError(
                    f"{' '.join(words[:3])} ended with {process.returncode}: {_end_of(warned.read())}"
                )
            return Run(took_s, used.ru_utime + used.ru_stime, peak_mb, said.read().decode())

    def manage(self, *words: str) -> Run:
        return self.run("manage.py", *words)

    def make_tables(self) -> None:
        if self.env["DATABASE_URL"] != self.env.get("MIGRATION_DATABASE_URL", self.env["DATABASE_URL"]):
            self.manage("grant_service_role")
        self.manage("migrate", "--verbosity", "0")


def _ended(pid: int) -> tuple[int, resource.struct_rusage, float]:
    """Its status, what it used, and its peak of memory, looked up while it runs.

    Once ended, Linux also counts what the starting process held when it split off.
    """
    peak_mb = 0.0
    while True:
        peak_mb = max(peak_mb, _peak_mb(pid))
        ended, status, used = os.wait4(pid, os.WNOHANG)
        if ended:
            return status, used, peak_mb
        time.sleep(LOOKS_EVERY_S)


def _peak_mb(pid: int) -> float:
    """0 where the process has just ended, and has no memory any more."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return sum(int(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith("VmHWM:"))


def _end_of(warned: bytes) -> str:
    return warned.decode(errors="replace").strip()[-1500:]


def made_in(folder: Path, name: str) -> Path:
    """A folder of its own for one of several databases."""
    made = folder / name
    made.mkdir()
    return made


@contextmanager
def own_database(folder: Path) -> Iterator[OwnDatabase]:
    """With the tables made, on the engine that is set; gone when the block ends."""
    kept = {name: value for name, value in os.environ.items() if name not in ("REDIS_URL", "EMAIL_URL")}
    env = kept | {
        "DJANGO_SETTINGS_MODULE": "coaching.settings",
        "FORBEAR_VAR_DIR": str(folder),
        "OPENBLAS_NUM_THREADS": "1",
    }
    if not settings.DATABASES["default"]["ENGINE"].endswith("postgresql"):
        env.pop("MIGRATION_DATABASE_URL", None)
        own = OwnDatabase("sqlite", folder, env | {"DATABASE_URL": f"sqlite:///{folder}/forbear.sqlite3"})
        own.make_tables()
        yield own
        return
    with _on_server(settings.MIGRATION_DATABASE_URL or settings.DATABASE_URL) as owner:
        service = urlsplit(settings.DATABASE_URL)._replace(path=urlsplit(owner).path).geturl()
        addresses = {"DATABASE_URL": service}
        if settings.MIGRATION_DATABASE_URL:
            addresses["MIGRATION_DATABASE_URL"] = owner
        own = OwnDatabase("postgresql", folder, env | addresses, owner)
        own.make_tables()
        yield own


@contextmanager
def _on_server(server: str) -> Iterator[str]:
    name = f"forbear_bench_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            yield urlsplit(server)._replace(path=f"/{name}").geturl()
        finally:
            connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))
