"""Every address, method, role and kind of id, held against the table in matrix.yaml.

The whole takes minutes and is `long`; what always runs asks every row as every role, with the ids in turn.
"""

import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.apps import apps
from django.db import connection, transaction
from django.utils import timezone

from coaching.models import DeviceToken
from tests.api.test_hostile_inputs import TEST_ORIGIN
from tests.security.calls import CALLS, Asked, route_names, send
from tests.security.people import OBJECTS, ROLES, UNSIGNED, People, home_of, make_people

TABLE = Path(__file__).with_name("matrix.yaml")
LETTERS = {401: "x", 403: "f", 404: "n", 409: "c", 410: "g", 422: "u", 400: "b"}
DENIED = "xfnub"
NOT_COMPARED = {"X-Request-Id", "Date", "Content-Length"}
WRITES = re.compile(r'\s*(?:INSERT(?: OR IGNORE)? INTO|UPDATE|DELETE FROM) "(\w+)"', re.IGNORECASE)
SLOW_TO_MAKE = ("picture.", ".pdf", "schema", "docs")


def table() -> dict[str, dict[str, list[str]]]:
    sections = yaml.safe_load(TABLE.read_text())
    return {
        section: {key: str(words).split() for key, words in rows.items()}
        for section, rows in sections.items()
    }


ROWS = {key: words for rows in table().values() for key, words in rows.items()}


@dataclass(frozen=True)
class Cell:
    key: str
    role: str
    object: str

    @property
    def expected(self) -> str:
        column = 0 if self.role in UNSIGNED else 1 + ROLES.index(self.role)
        word = ROWS[self.key][column]
        return word if len(word) == 1 else word[OBJECTS.index(self.object)]

    @property
    def is_slow(self) -> bool:
        return self.expected == "." and any(word in self.key for word in SLOW_TO_MAKE)


def objects_of(key: str) -> tuple[str, ...]:
    """Where no id is named it makes no difference whose it is."""
    has_id = "{" in key or "|" in key or any(len(word) > 1 for word in ROWS[key])
    return OBJECTS if has_id else OBJECTS[:1]


def whole(keys: Any) -> Iterator[Cell]:
    for key in keys:
        yield from (Cell(key, role, "coachs") for role in UNSIGNED)
        yield from (Cell(key, role, which) for role in ROLES for which in objects_of(key))


def spanning(keys: Any) -> Iterator[Cell]:
    """Each row as each role: the made-up id and one other in turn; one useless token; one picture a row."""
    for turn, key in enumerate(keys):
        made = 0
        yield Cell(key, UNSIGNED[turn % len(UNSIGNED)], "coachs")
        for column, role in enumerate(ROLES):
            others = objects_of(key)[:4]
            chosen = {others[(turn + column) % len(others)], objects_of(key)[-1]}
            for cell in (Cell(key, role, which) for which in sorted(chosen)):
                made += cell.is_slow
                if not cell.is_slow or made == 1:
                    yield cell


@pytest.fixture
def people(db, settings, time_machine) -> Iterator[People]:
    time_machine.move_to("2026-03-02T20:00:00Z", tick=False)
    settings.WEBHOOK_TEST_ADDRESSES = [TEST_ORIGIN]
    logging.disable(logging.CRITICAL)
    yield make_people()
    logging.disable(logging.NOTSET)


class Writes:
    """Into which tables a call wrote."""

    def __init__(self) -> None:
        self.tables: set[str] = set()

    def __call__(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if written := WRITES.match(sql):
            self.tables.add(written[1])
        return execute(sql, params, many, context)


def rows_of(tables: set[str]) -> dict[str, list[Any]]:
    """Every row of these tables, but for devices that were cleared away because their time was over."""
    kinds = [kind for kind in apps.get_app_config("coaching").get_models() if kind._meta.db_table in tables]
    found = {kind.__name__: kind._default_manager.all() for kind in kinds}
    if "DeviceToken" in found:
        found["DeviceToken"] = DeviceToken.objects.filter(expiry__gt=timezone.now())
    return {name: sorted(map(repr, rows.values_list())) for name, rows in found.items()}


@dataclass(frozen=True)
class Answered:
    """The letter of an answer; of a denied call what was told, and whether it left something behind."""

    letter: str
    told: Any = None
    has_written: bool = False


def ask(people: People, cell: Cell) -> Answered:
    """One cell, rolled back afterwards."""
    asked, writes = Asked(people, cell.role, people.folders[cell.object]), Writes()
    with transaction.atomic():
        with connection.execute_wrapper(writes):
            answer = send(cell.key, asked)
            content = answer.getvalue() if answer.streaming else answer.content
        letter = letter_of(cell, answer)
        after = rows_of(writes.tables) if letter in DENIED else {}
        transaction.set_rollback(True)
    if letter not in DENIED:
        return Answered(letter)
    has_written = bool(after) and after != rows_of(writes.tables)
    return Answered(letter, told(answer, content, asked), has_written)


def letter_of(cell: Cell, answer: Any) -> str:
    status = answer.status_code
    if cell.key.startswith("POST sessions/batch") and status == 200:
        status = answer.json()["items"][0]["status"]
    return "." if 200 <= status < 300 else LETTERS.get(status, f"[{status}]")


def told(answer: Any, content: bytes, asked: Asked) -> tuple[Any, ...]:
    """All that a caller could compare: the order of the headers, their values, and every byte of the body."""
    text = content.decode()
    for name, value in vars(asked.folder).items():
        text = text.replace(str(value), f"<{name}>") if name not in ("number", "joint", "side") else text
    text = re.sub(r'"instance":"[^"]*"', '"instance":""', text)
    headers = [item for item in answer.items() if item[0] not in NOT_COMPARED]
    return answer.status_code, headers, text


def faults(people: People, cells: Iterator[Cell]) -> Iterator[str]:
    """Where an answer is not the table's, a denied call wrote, or "not yours" differs from "not there"."""
    told_before: dict[tuple[str, str], list[tuple[str, Answered]]] = {}
    for cell in cells:
        answer = ask(people, cell)
        asked = f"{cell.key} as {cell.role} for {cell.object}"
        if answer.letter != cell.expected:
            yield f"{asked}: {answer.letter}, not {cell.expected}"
        if answer.has_written:
            yield f"{asked}: denied, and yet something was written"
        before = told_before.setdefault((cell.key, cell.role), [])
        if cell.object == "made_up":
            for which, other in before:
                if (other.letter, other.told != answer.told) == (answer.letter, True):
                    yield f"{asked}: {answer.told}, and for {which}: {other.told}"
        elif answer.told and cell.object != home_of(cell.role):
            before.append((cell.object, answer))


def test_every_address_has_its_row_and_every_row_its_address():
    assert {key.partition(" | ")[0] for key in ROWS} == route_names()


def test_every_row_says_it_for_every_role_and_every_call_has_a_row():
    lengths = {len(word) for words in ROWS.values() for word in words}
    assert ({len(words) for words in ROWS.values()}, lengths) == ({1 + len(ROLES)}, {1, len(OBJECTS)})
    assert set(CALLS) <= set(ROWS)
    assert sum(map(len, table().values())) == len(ROWS)


@pytest.mark.parametrize("section", table())
def test_a_part_of_the_matrix_that_spans_it(people, section):
    assert list(faults(people, spanning(table()[section]))) == []


@pytest.mark.long
@pytest.mark.parametrize("section", table())
def test_the_whole_matrix(people, section):
    assert list(faults(people, whole(table()[section]))) == []
