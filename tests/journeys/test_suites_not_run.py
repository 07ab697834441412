"""A test run ends by naming the suites that did not run; one that needs them all fails without them."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.journeys.processes import ROOT, environment

TESTS = """
import pytest

def test_plain(): pass

@pytest.mark.postgresql
def test_rows(): pass

@pytest.mark.redis
def test_messages(): pass

@pytest.mark.node
def test_another_reader(): pass


@pytest.mark.roles
def test_policies(): pass

@pytest.mark.servers
def test_power_cuts(): pass

@pytest.mark.long
def test_hours(): pass

@pytest.mark.faults
def test_kills(): pass
"""
CONFTEST = """
from tests import services

services.has_node = lambda: {has_node}
services.are_installed = lambda: {has_servers}
"""


@dataclass(frozen=True)
class Run:
    code: int
    output: str

    @property
    def last_line(self) -> str:
        return self.output.strip().splitlines()[-1]


@pytest.fixture
def run(tmp_path: Path):
    def run_tests(
        *words: str, tests: str = TESTS, has_node: bool = True, has_servers: bool = True, **env: str
    ) -> Run:
        (tmp_path / "test_some.py").write_text(tests)
        (tmp_path / "conftest.py").write_text(CONFTEST.format(has_node=has_node, has_servers=has_servers))
        plugins = ["-p", "tests.services", "-p", "no:django", "-p", "no:cacheprovider"]
        done = subprocess.run(
            [
                sys.executable,
                "-m",
                "pytest",
                *plugins,
                "-c",
                "/dev/null",
                "--rootdir",
                tmp_path,
                tmp_path,
                *words,
            ],
            cwd=ROOT,
            env={**environment(tmp_path), "FORBEAR_REQUIRE_SERVICES": "0", **env},
            capture_output=True,
            text=True,
            timeout=60,
        )
        return Run(done.returncode, done.stdout)

    return run_tests


ALL = {
    "DATABASE_URL": "postgres://service@somewhere/db",
    "MIGRATION_DATABASE_URL": "postgres://owner@somewhere/db",
    "REDIS_URL": "redis://somewhere/0",
}


def test_without_services_their_suites_are_left_out_and_named_last(run):
    done = run(has_node=False, has_servers=False)
    assert done.code == 0
    assert "1 passed, 7 deselected" in done.output
    assert done.last_line == (
        "Suites not run: faults (1 tests; make faults), long (1 tests; make long), "
        "node (1 tests; install nodejs and npm, then make test), "
        "postgresql (1 tests; set DATABASE_URL), redis (1 tests; set REDIS_URL), "
        "roles (1 tests; set MIGRATION_DATABASE_URL), "
        "servers (1 tests; install postgresql and redis-server)."
    )


def test_with_services_their_suites_run(run):
    done = run(**ALL)
    assert "6 passed, 2 deselected" in done.output
    assert done.last_line == "Suites not run: faults (1 tests; make faults), long (1 tests; make long)."


def test_another_database_does_not_stand_in_for_postgresql(run):
    done = run(DATABASE_URL="sqlite:///somewhere", REDIS_URL="redis://somewhere/0")
    assert "postgresql (1 tests" in done.last_line


def test_the_long_suite_runs_when_asked_for(run):
    done = run("-m", "long", **ALL)
    assert "1 passed" in done.output
    assert done.last_line == "Suites not run: faults (1 tests; make faults)."


def test_two_suites_asked_for_together_leave_none_out(run):
    done = run("-m", "long or faults", **ALL)
    assert "2 passed" in done.output
    assert done.last_line == "Suites not run: none."


def test_a_run_that_needs_the_services_fails_without_them(run):
    done = run(FORBEAR_REQUIRE_SERVICES="1")
    assert done.code == 1
    assert "suite postgresql did not run" in done.output


def test_a_run_that_needs_the_services_fails_without_node(run):
    done = run(FORBEAR_REQUIRE_SERVICES="1", has_node=False, **ALL)
    assert done.code == 1
    assert "suite node did not run" in done.output


def test_a_run_that_needs_the_services_passes_with_them(run):
    assert run(FORBEAR_REQUIRE_SERVICES="1", **ALL).code == 0


def test_a_run_beside_another_leaves_it_what_asks_no_database(run):
    asking = "\n@pytest.fixture\ndef db(): pass\n\ndef test_asks(db): pass\n"
    done = run("--only-database", tests=TESTS + asking, **ALL)
    assert "6 passed, 3 deselected" in done.output


def test_a_run_that_needs_the_services_lets_nothing_skip_itself(run):
    skipping = TESTS + "\ndef test_hidden(): pytest.skip('no service')\n"
    done = run(tests=skipping, FORBEAR_REQUIRE_SERVICES="1", **ALL)
    assert done.code == 1
    assert "skipped: test_some.py::test_hidden" in done.output
