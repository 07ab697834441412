"""Benches: servers and a practice, made once for all rounds that begin from them."""

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.faults.processes.bench import Bench, EmbeddedBench


@pytest.fixture(scope="session")
def small_bench() -> Iterator[Bench]:
    yield from _in_a_folder(Bench, clients=60, devices=3, nights=2)


@pytest.fixture(scope="session")
def bench() -> Iterator[Bench]:
    yield from _in_a_folder(Bench, clients=500, devices=8, nights=6)


@pytest.fixture(scope="session")
def embedded_bench() -> Iterator[Bench]:
    yield from _in_a_folder(EmbeddedBench, clients=200, devices=4, nights=6)


def _in_a_folder(kind: type[Bench], **sizes: int) -> Iterator[Bench]:
    """Of its own: the folder of the tests lets nobody else in, such as the user of PostgreSQL."""
    with TemporaryDirectory(prefix="forbear-bench-") as folder:
        made = kind(Path(folder))
        try:
            made.prepare(**sizes)
            yield made
        finally:
            made.end()
