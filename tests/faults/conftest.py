"""What all fault tests share: the ledger, whose table ends a run of `make faults`."""

import pytest

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
