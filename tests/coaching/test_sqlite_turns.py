"""On the embedded default, threads write in the order in which they came."""

import sqlite3
import threading
import time
from collections.abc import Callable

import pytest
from django.db import ConnectionHandler, OperationalError, connections

from coaching.sqlite_in_turn.base import DatabaseWrapper
from coaching.sqlite_in_turn.turns import Turns

BETWEEN_S = 0.05
WITHIN_S = 20.0


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "turns.sqlite3"
    with sqlite3.connect(path) as plain:
        plain.execute("CREATE TABLE came (number integer)")
    return path


@pytest.fixture
def writer(file) -> Callable[..., DatabaseWrapper]:
    """A connection of the service's kind."""

    def make(timeout_s: float = WITHIN_S) -> DatabaseWrapper:
        options = {"transaction_mode": "IMMEDIATE", "timeout": timeout_s}
        wanted = {"ENGINE": "coaching.sqlite_in_turn", "NAME": str(file), "OPTIONS": options}
        made = ConnectionHandler({"default": wanted})["default"]
        assert isinstance(made, DatabaseWrapper)
        return made

    return make


def begin(writer: DatabaseWrapper) -> None:
    """As `atomic` does."""
    writer.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)


def write(writer: DatabaseWrapper, number: int) -> None:
    begin(writer)
    with writer.cursor() as cursor:
        cursor.execute("INSERT INTO came VALUES (%s)", [number])
    writer.commit()
    writer.close()


def came(file) -> list[int]:
    with sqlite3.connect(file) as plain:
        return [number for (number,) in plain.execute("SELECT number FROM came ORDER BY rowid")]


def test_who_asked_first_writes_first(writer, file):
    """Those that SQLite lets look again and again come as they happen to look."""
    first = writer()
    begin(first)
    threads = [threading.Thread(target=lambda n=n: write(writer(), n)) for n in range(1, 9)]
    for thread in threads:
        thread.start()
        time.sleep(BETWEEN_S)
    first.commit()
    for thread in threads:
        thread.join(WITHIN_S)
    assert came(file) == list(range(1, 9))


@pytest.mark.parametrize("end", [DatabaseWrapper.commit, DatabaseWrapper.rollback, DatabaseWrapper.close])
def test_however_it_ends_the_turn_is_given_back(writer, file, end):
    first = writer()
    begin(first)
    end(first)
    write(writer(timeout_s=0.2), 1)
    assert came(file) == [1]


def test_who_waited_too_long_is_told_so_and_keeps_nobody_else_waiting(writer, file):
    first = writer()
    begin(first)
    later = threading.Thread(target=lambda: write(writer(), 2))
    with pytest.raises(OperationalError, match="database is locked"):
        begin(writer(timeout_s=0.2))
    later.start()
    first.commit()
    later.join(WITHIN_S)
    assert came(file) == [2]


def test_who_is_interrupted_while_waiting_keeps_nobody_else_waiting(monkeypatch):
    turns = Turns()
    assert turns.take(WITHIN_S)
    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr(turns._changed, "wait", interrupted)
        turns.take(WITHIN_S)
    turns.give_back()
    assert turns.take(0.2)


def interrupted(timeout_s):
    raise KeyboardInterrupt


def test_a_writer_in_another_process_is_waited_for_as_before_and_the_turn_is_free_again(writer, file):
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(OperationalError, match="database is locked"):
        begin(writer(timeout_s=0.2))
    other.execute("COMMIT")
    other.close()
    write(writer(timeout_s=0.2), 3)
    assert came(file) == [3]


def test_the_embedded_default_writes_in_turn():
    default = connections["default"]
    assert default.vendor == "postgresql" or isinstance(default, DatabaseWrapper)
