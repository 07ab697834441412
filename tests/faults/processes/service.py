"""The service as it runs in the open, worker, beat and web, each started again whenever it ends."""

import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path

from tests.journeys.processes import ROOT, Served, answers, environment, free_port

STARTS_AGAIN_AFTER_S = 0.2
WORKER = ("worker", "--concurrency", "2", "--without-mingle", "--without-gossip")


class Kept:
    """A process that a supervisor keeps alive, as every way of running it in the open does."""

    def __init__(self, words: list[str], env: Mapping[str, str], log: Path, code: Path = ROOT) -> None:
        self._words, self._env, self._log, self._code = words, env, log, code
        self._is_stopping = threading.Event()
        self.starts = 0
        self.served = self._start()
        self._thread = threading.Thread(target=self._keep, daemon=True)
        self._thread.start()

    def _start(self) -> Served:
        self.starts += 1
        return Served(self._words, self._env, self._log.with_suffix(f".{self.starts}.log"), self._code)

    def _keep(self) -> None:
        while not self._is_stopping.wait(STARTS_AGAIN_AFTER_S):
            if self.served.process.poll() is not None:
                self.served = self._start()

    def kill(self) -> None:
        """The whole process group at once, so that nobody can tidy up."""
        self.served.kill()

    def children(self) -> list[int]:
        """The ids of the processes that it has started: the pool of a worker, the one that serves."""
        pid = self.served.process.pid
        return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]

    def stop(self) -> None:
        self._is_stopping.set()
        self._thread.join(5)
        self.served.stop(30)

    def told(self) -> str:
        files = sorted(self._log.parent.glob(f"{self._log.stem}.*.log"))
        return "".join(file.read_text(errors="replace") for file in files)


class Service:
    """One set of processes on one database, one mail server, and a broker if it needs one."""

    def __init__(
        self, folder: Path, database: Mapping[str, str], *, email_url: str, redis_url: str = ""
    ) -> None:
        folder.mkdir(parents=True)
        self.folder = folder
        self.port = free_port()
        self.env = environment(
            folder / "var",
            **({"REDIS_URL": redis_url} if redis_url else {}),
            EMAIL_URL=email_url,
            SECRET_KEY="kept for as long as the bench runs, and never used elsewhere",
            WEB_PORT=str(self.port),
        ) | dict(database)
        self.kept: dict[str, Kept] = {}

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self, *names: str) -> None:
        for name in names:
            self.kept[name] = Kept(self._command(name), self.env, self.folder / name)
        if {"web", "serve"} & set(names):
            until = time.monotonic() + 60
            while not answers(f"{self.url}/readyz"):
                assert time.monotonic() < until, [kept.told()[-3000:] for kept in self.kept.values()]
                time.sleep(0.1)

    def roll_over(self, name: str, code: Path) -> None:
        """Stop it as a roll-out does, then start the same of other code in its place."""
        self.kept.pop(name).stop()
        self.kept[name] = Kept(self._command(name), self.env, self.folder / f"{name}_newer", code)

    def start_beside(self, name: str, code: Path) -> None:
        """Other code of the same, while the one that runs goes on."""
        beside = f"{name}_beside"
        self.kept[beside] = Kept(self._command(name, beside), self.env, self.folder / beside, code)

    def _command(self, name: str, host: str = "bench") -> list[str]:
        celery = ["celery", "-A", "coaching.celery"]
        return {
            "web": ["gunicorn", "-c", "coaching/gunicorn_conf.py", "api.wsgi:application"],
            "worker": [*celery, *WORKER, "--hostname", f"{host}-{self.port}@%h"],
            "serve": ["python", "manage.py", "serve", "--port", str(self.port)],
            "beat": [*celery, "beat", "--schedule", str(self.folder / "schedule"), "--pidfile", ""],
        }[name]

    def kill(self, name: str) -> None:
        self.kept[name].kill()

    def stop(self) -> None:
        """Each of them within its grace period, and then by force."""
        with ExitStack() as ends:
            for kept in self.kept.values():
                ends.callback(kept.stop)

    def by_hand(self, *words: str, code: Path = ROOT) -> subprocess.CompletedProcess[str]:
        """One of the project's own commands, as an operator runs it."""
        return run_python("manage.py", *words, env=self.env, code=code)


def run_python(*words: str, env: Mapping[str, str], code: Path = ROOT) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *words],
        env=dict(env),
        cwd=code,
        capture_output=True,
        text=True,
        timeout=600,
        stdin=subprocess.DEVNULL,
    )
