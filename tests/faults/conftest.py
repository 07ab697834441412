"""What all fault tests share: the ledger, whose table ends a run of `make faults`."""

from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from django.db import connections

from tests.faults.bench import Bench, EmbeddedBench
from tests.faults.databases import Copies, copies_in
from tests.faults.forks import in_child
from tests.faults.nth import FaultLoop, enter
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


@pytest.fixture(scope="module")
def copies(django_db_setup, django_db_blocker, tmp_path_factory) -> Iterator[Copies]:
    """Databases of the tests' own; nothing here touches the suite's."""
    with django_db_blocker.unblock():
        yield copies_in(tmp_path_factory.mktemp("databases"))


@pytest.fixture(scope="module")
def loop_on(copies, tmp_path_factory) -> Iterator[Callable[[str, Callable[[], object]], FaultLoop]]:
    """A loop whose runs begin with what `build` has put into the database `name`; made once in a module."""
    made: dict[str, FaultLoop] = {}

    def loop_of(name: str, build: Callable[[], object]) -> FaultLoop:
        if name not in made:
            made[name] = _built(copies, tmp_path_factory.mktemp(name), build)
        return made[name]

    yield loop_of
    for loop in made.values():
        copies.drop(loop.database)


def _built(copies: Copies, folder: Path, build: Callable[[], object]) -> FaultLoop:
    database = copies.copy_of_the_suites(folder.name)

    def run(tell: object) -> None:
        enter(copies, database, folder)
        build()
        connections.close_all()

    in_child(run)
    copies.keep(database)
    return FaultLoop(copies, database, folder)
