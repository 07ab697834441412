"""Gunicorn as a process of its own on a free loopback port, and a client that asks it over one connection."""

import http.client
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from statistics import median, quantiles

from coaching.speed.own_database import ROOT, BenchError, OwnDatabase

STARTS_WITHIN_S, STOPS_WITHIN_S = 60.0, 20.0


@dataclass(frozen=True, slots=True)
class Answered:
    status: int
    body: bytes
    headers: Mapping[str, str]
    took_ms: float


@contextmanager
def served(own: OwnDatabase, application: str, *words: str, **env: str) -> Iterator[int]:
    """The application under gunicorn, as the service sets it, until the block ends; gives its port.

    More words change the settings. Raises BenchError if it does not start.
    """
    port = free_port()
    conf = ("-m", "gunicorn", "-c", "python:coaching.gunicorn_conf", "-b", f"127.0.0.1:{port}")
    with _running(own, port, *conf, *words, application, **env):
        yield port


@contextmanager
def served_by_one_process(own: OwnDatabase) -> Iterator[int]:
    """The whole service as the embedded default runs it, its clock included."""
    port = free_port()
    with _running(own, port, "manage.py", "serve", "--port", str(port)):
        yield port


@contextmanager
def _running(own: OwnDatabase, port: int, *words: str, **env: str) -> Iterator[None]:
    log_path = own.folder / f"served-{port}.log"
    with log_path.open("wb") as log:
        process = subprocess.Popen(  # noqa: S603 - our own command  # nosec B603
            [sys.executable, *words], cwd=ROOT, env=own.env | env, stdout=log, stderr=log
        )
        try:
            _wait_for(port, process, log_path)
            yield
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(STOPS_WITHIN_S)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _wait_for(port: int, process: "subprocess.Popen[bytes]", log_path: Path) -> None:
    until = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < until and process.poll() is None:
        with suppress(OSError, http.client.HTTPException):
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=2)
            connection.request("GET", "/healthz")
            connection.getresponse()  # whatever it says: a bare view has no such address
            return
        time.sleep(0.1)
    raise BenchError(f"The server did not start: {log_path.read_text()[-800:]}")


class Reader:
    """One connection that stays open, as a client app has."""

    def __init__(self, port: int) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)

    def get(self, address: str, headers: Mapping[str, str]) -> Answered:
        began = time.perf_counter()
        self._connection.request("GET", address, headers=dict(headers))
        answer = self._connection.getresponse()
        body = answer.read()
        took_ms = 1000 * (time.perf_counter() - began)
        return Answered(answer.status, body, dict(answer.headers), took_ms)

    def close(self) -> None:
        self._connection.close()


def latencies(
    port: int, address: str, headers: Mapping[str, str], *, requests: int, status: int
) -> Mapping[str, float]:
    """The middle and the slowest hundredth of as many requests, one after the other."""
    reader = Reader(port)
    try:
        taken = []
        for _ in range(requests):
            answered = reader.get(address, headers)
            if answered.status != status:
                raise BenchError(f"{address} answered {answered.status}, not {status}.")
            taken.append(answered.took_ms)
    finally:
        reader.close()
    p99_ms = quantiles(taken, n=100, method="inclusive")[98] if len(taken) > 1 else taken[0]
    return {"p50_ms": median(taken), "p99_ms": p99_ms}
