"""Real processes for the journeys: each in its own group, ended by that group and nothing wider."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import httpx

ROOT = Path(__file__).parent.parent.parent
BIN = Path(sys.executable).parent


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


def environment(var: Path, **more: str) -> dict[str, str]:
    """What a process of the project needs, without the services that the caller did not name."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if name not in ("DATABASE_URL", "MIGRATION_DATABASE_URL", "REDIS_URL", "PYTEST_ADDOPTS")
    }
    return kept | {"FORBEAR_VAR_DIR": str(var), "PYTHONUNBUFFERED": "1"} | more


class Served:
    """One started process and its log file; `code` is the checkout that it runs."""

    def __init__(self, words: Sequence[str], env: Mapping[str, str], log: Path, code: Path = ROOT) -> None:
        self.log = log
        with log.open("wb") as output:
            self.process = subprocess.Popen(
                [str(BIN / words[0]), *words[1:]],
                cwd=code,
                env=dict(env),
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def told(self) -> str:
        return self.log.read_text(errors="replace")

    def stop(self, within_s: float) -> int:
        """Ask it to end; whatever of its group is left after that is killed."""
        self.process.terminate()
        try:
            return self.process.wait(within_s)
        finally:
            self.kill()

    def kill(self) -> None:
        try:
            os.killpg(self.process.pid, signal.SIGKILL)
        except ProcessLookupError:
            return
        self.process.wait(5)


def wait_until(
    is_so: Callable[[], bool], what: str, within_s: float, log: Served, every_s: float = 0.2
) -> None:
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if is_so():
            return
        assert log.process.poll() is None, f"it ended before {what}:\n{log.told()[-4000:]}"
        time.sleep(every_s)
    raise AssertionError(f"not {what} within {within_s} s:\n{log.told()[-4000:]}")


def answers(url: str, status: int = 200) -> bool:
    try:
        return httpx.get(url, timeout=5).status_code == status
    except httpx.TransportError:
        return False
