"""What all fault tests share: the ledger, whose table ends a run of `make faults`."""

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.faults.bench import Bench, EmbeddedBench
from tests.faults.outcomes import Ledger

LEDGER = pytest.StashKey[Ledger]()


def pytest_configure(config: pytest.Config) -> None:
    config.stash[LEDGER] = Ledger()


@pytest.fixture(scope="session")
def ledger(pytestconfig) -> Ledger:
    """Where a fault test notes what became of its faults."""
    return pytestconfig.stash.setdefault(LEDGER, Ledger())


def pytest_terminal_summary(terminalreporter, exitstatus, config: pytest.Config) -> None:
    table = config.stash.setdefault(LEDGER, Ledger()).table()
    if table and "faults" in config.option.markexpr:
        terminalreporter.section("faults")
        terminalreporter.write_line(table)


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
