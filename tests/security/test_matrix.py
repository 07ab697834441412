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
from tests.security.people import OBJECTS, ROLES, UNSIGNED, People, make_people

TABLE = Path(__file__).with_name("matrix.yaml")
LETTERS = {401: "x", 403: "f", 404: "n", 409: "c", 410: "g", 422: "u", 400: "b"}
DENIED = "xfnub"
NOT_COMPARED = {"X-Request-Id", "Date", "Content-Length"}
WRITES = re.compile(r"\s*(INSERT|UPDATE|DELETE)\b", re.IGNORECASE)
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
    """Which statements of a call wrote."""

    def __init__(self) -> None:
        self.seen: list[str] = []

    def __call__(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if WRITES.match(sql):
            self.seen.append(sql)
        return execute(sql, params, many, context)


def everything() -> dict[str, list[Any]]:
    """Every row of every table of ours, but for a device that was cleared away because its time was over."""
    models = apps.get_app_config("coaching").get_models()
    found = {model.__name__: model._default_manager.all() for model in models}
    found["DeviceToken"] = DeviceToken.objects.filter(expiry__gt=timezone.now())
    return {name: sorted(map(repr, rows.values_list())) for name, rows in found.items()}


def ask(people: People, cell: Cell) -> tuple[str, Any]:
    """The letter of the answer and, of a denied call, what was answered; rolled back afterwards."""
    asked, writes = Asked(people, cell.role, people.folders[cell.object]), Writes()
    with transaction.atomic():
        with connection.execute_wrapper(writes):
            answer = send(cell.key, asked)
            content = answer.getvalue() if answer.streaming else answer.content
            answer.close()
        letter = letter_of(cell, answer)
        after = everything() if letter in DENIED and writes.seen else None
        transaction.set_rollback(True)
    if after is not None:
        assert after == everything(), f"{cell}: denied, and yet something was written"
    return letter, (told(answer, content, asked) if letter in DENIED else None)


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


def check(people: People, cells: Iterator[Cell]) -> None:
    wrong, seen = [], {}
    for cell in cells:
        letter, answer = ask(people, cell)
        if letter != cell.expected:
            wrong.append(f"{cell.key} as {cell.role} for {cell.object}: {letter}, not {cell.expected}")
        if answer is not None:
            seen[cell] = answer
    for cell, answer in seen.items():
        missing = seen.get(Cell(cell.key, cell.role, "made_up"))
        if missing is not None and missing[0] == answer[0] and missing != answer:
            wrong.append(f"{cell.key} as {cell.role}: {cell.object} is told from made up: {answer} {missing}")
    assert wrong == []


def test_every_address_has_its_row_and_every_row_its_address():
    assert {key.partition(" | ")[0] for key in ROWS} == route_names()


def test_every_row_says_it_for_every_role_and_every_call_has_a_row():
    lengths = {len(word) for words in ROWS.values() for word in words}
    assert ({len(words) for words in ROWS.values()}, lengths) == ({1 + len(ROLES)}, {1, len(OBJECTS)})
    assert set(CALLS) <= set(ROWS)
    assert sum(map(len, table().values())) == len(ROWS)


@pytest.mark.parametrize("section", table())
def test_a_part_of_the_matrix_that_spans_it(people, section):
    check(people, spanning(table()[section]))


@pytest.mark.long
@pytest.mark.parametrize("section", table())
def test_the_whole_matrix(people, section):
    check(people, whole(table()[section]))
