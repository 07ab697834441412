"""Loops: a database and its copies, made once in a module for all runs that begin from it."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.db import connections

from tests.faults.nth.databases import Copies, copies_in
from tests.faults.nth.forks import in_child
from tests.faults.nth.loop import FaultLoop, enter


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
