"""What all fault tests share: the ledger, whose table ends a run of `make faults`."""

from collections.abc import Callable, Iterator

import pytest
from django.db import connections

from tests.faults.databases import Copies, copies_in
from tests.faults.forks import in_child
from tests.faults.nth import Bench, enter
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


@pytest.fixture(scope="module")
def copies(django_db_setup, django_db_blocker, tmp_path_factory) -> Iterator[Copies]:
    """Databases of the tests' own; nothing here touches the suite's."""
    with django_db_blocker.unblock():
        yield copies_in(tmp_path_factory.mktemp("databases"))


@pytest.fixture(scope="module")
def bench_on(copies, tmp_path_factory) -> Iterator[Callable[[str, Callable[[], object]], Bench]]:
    """A bench whose runs begin with what `build` has put into a database; `name` is the database's."""
    made = []

    def build_bench(name: str, build: Callable[[], object]) -> Bench:
        folder = tmp_path_factory.mktemp(name)
        database = copies.copy_of_the_suites(name)
        made.append(database)

        def run(tell: object) -> None:
            enter(copies, database, folder)
            build()
            connections.close_all()

        in_child(run)
        copies.keep(database)
        return Bench(copies, database, folder)

    yield build_bench
    for database in made:
        copies.drop(database)
