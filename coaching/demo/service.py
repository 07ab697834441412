"""The real server as a process of its own, and people who talk to it over HTTP."""

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
from django.conf import settings

STARTS_WITHIN_S = 60.0
STOPS_WITHIN_S = 15.0


class DemoError(Exception):
    """The demo could not go on; the sentence says where. No caller of the service meets it."""


@contextmanager
def served(log_path: Path) -> Iterator[str]:
    """The server on a free loopback port, without its ticker, until the block ends; gives its address."""
    port = _free_port()
    command = [
        sys.executable,
        str(Path(settings.BASE_DIR) / "manage.py"),
        "serve",
        "--no-ticker",
        "--port",
        str(port),
    ]
    with log_path.open("wb") as log:
        process = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT)  # noqa: S603 - our own command
        try:
            address = f"http://127.0.0.1:{port}"
            _wait_until_ready(address, process, log_path)
            yield address
        finally:
            process.terminate()
            process.wait(STOPS_WITHIN_S)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _wait_until_ready(address: str, process: "subprocess.Popen[bytes]", log_path: Path) -> None:
    until = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < until:
        if process.poll() is not None:
            break
        try:
            if httpx.get(f"{address}/readyz", timeout=2).status_code == 200:
                return
        except httpx.TransportError:
            time.sleep(0.2)
    raise DemoError(f"The server did not start; see {log_path}.")


class Person:
    """Someone with a device token, whose every request must succeed."""

    def __init__(self, address: str, token: str = "") -> None:
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        self.token = token
        self.http = httpx.Client(base_url=f"{address}/api/v1", headers=headers, timeout=60)

    def ask(self, method: str, path: str, body: Any = None, version: int | None = None) -> Any:
        """The answer's body. Raises DemoError with the problem when the answer is not a success."""
        headers = {} if version is None else {"If-Match": f'"{version}"'}
        answer = self.http.request(method, path, json=body, headers=headers)
        if not answer.is_success:
            raise DemoError(f"{method} {path} was answered {answer.status_code}: {answer.text[:500]}")
        return answer.json() if answer.content else None
