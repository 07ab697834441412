"""Which suites run: those that need a service run where its address is given, and the end says which did not.

A suite is a marker. What cannot run is deselected, never skipped; with FORBEAR_REQUIRE_SERVICES=1 (the
continuous run) a suite of a service that did not run, or a skipped test, fails the whole run.
With --only-database the tests that ask no database for anything are left to the run beside it.
"""

import os
import shutil
from pathlib import Path

import pytest

from tests.faults.processes.servers import are_installed

ADDRESS_OF = {"postgresql": "DATABASE_URL", "redis": "REDIS_URL", "roles": "MIGRATION_DATABASE_URL"}
NEEDED = (*ADDRESS_OF, "node", "servers")
ICAL_JS = Path(__file__).parent / "ical_js" / "node_modules" / "ical.js"
UNLESS_ASKED = {"long": "make long", "faults": "make faults"}
NOT_RUN = pytest.StashKey[dict[str, int]]()
RAN = pytest.StashKey[set[str]]()
SKIPPED = pytest.StashKey[set[str]]()
ASKS_A_DATABASE = {"db", "transactional_db", "live_server"}


def has_node() -> bool:
    """Node and what `make test` installs for it; no test fetches anything itself."""
    return shutil.which("node") is not None and ICAL_JS.is_dir()


def is_given(suite: str) -> bool:
    if suite == "node":
        return has_node()
    if suite == "servers":
        return are_installed()
    address = os.environ.get(ADDRESS_OF[suite], "")
    return address.startswith("postgres") if suite == "postgresql" else bool(address)


def is_required() -> bool:
    return os.environ.get("FORBEAR_REQUIRE_SERVICES") == "1"


def suites_of(item: pytest.Item) -> set[str]:
    return {name for name in (*NEEDED, *UNLESS_ASKED) if item.get_closest_marker(name)}


def asks_a_database(item: pytest.Item) -> bool:
    return bool(
        item.get_closest_marker("django_db") or ASKS_A_DATABASE & set(getattr(item, "fixturenames", ()))
    )


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--only-database", action="store_true", help="leave out tests that ask no database")


def pytest_configure(config: pytest.Config) -> None:
    config.stash[NOT_RUN] = {}
    config.stash[RAN] = set()
    config.stash[SKIPPED] = set()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    absent = {suite for suite in NEEDED if not is_given(suite)}
    absent |= {suite for suite in UNLESS_ASKED if suite not in config.option.markexpr}
    left_out = [item for item in items if suites_of(item) & absent]
    for item in left_out:
        for suite in suites_of(item) & absent:
            config.stash[NOT_RUN][suite] = config.stash[NOT_RUN].get(suite, 0) + 1
    if config.option.only_database:
        left_out += [item for item in items if not (suites_of(item) or asks_a_database(item))]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    report = yield
    if report.skipped and not hasattr(report, "wasxfail"):
        item.config.stash[SKIPPED].add(item.nodeid)
    elif call.when == "call":
        item.config.stash[RAN] |= suites_of(item)
    return report


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    if is_required() and exitstatus == pytest.ExitCode.OK and complaints(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def complaints(config: pytest.Config) -> list[str]:
    """What a run that must leave nothing out has left out."""
    missing = [f"suite {suite} did not run" for suite in NEEDED if suite not in config.stash[RAN]]
    return missing + [f"skipped: {nodeid}" for nodeid in sorted(config.stash[SKIPPED])]


def pytest_unconfigure(config: pytest.Config) -> None:
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or NOT_RUN not in config.stash:
        return
    if is_required():
        for complaint in complaints(config):
            reporter.write_line(f"FORBEAR_REQUIRE_SERVICES: {complaint}", red=True)
    reporter.write_line(closing_line(config.stash[NOT_RUN]))


def closing_line(not_run: dict[str, int]) -> str:
    if not not_run:
        return "Suites not run: none."
    ways = {suite: f"set {address}" for suite, address in ADDRESS_OF.items()} | {
        "node": "install nodejs and npm, then make test",
        "servers": "install postgresql and redis-server",
        **UNLESS_ASKED,
    }
    told = [f"{suite} ({count} tests; {ways[suite]})" for suite, count in sorted(not_run.items())]
    return f"Suites not run: {', '.join(told)}."
