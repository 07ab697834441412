"""Bytes that a broken app, a broken line or curiosity sends, through the parser and the session check.

Python's own json module, which nobody here wrote, is the judge of what is JSON at all.
"""

import json
import random
from decimal import Decimal
from typing import Any

import pytest

from api.parsers import parse_json
from api.problems import Problem
from api.sessions import SessionIn
from tests.bodies import pain_body, session_body, set_body

SEED = 20260316
TOKENS = [
    b"{", b"}", b"[", b"]", b",", b":", b'"', b"\\", b"\\u0000", b"\\ud800", b"\\u00e9", b"null", b"true",
    b"NaN", b"-Infinity", b"1e999", b"-0", b"1_000", b"0x10", b"01", b"5.0", b"\x00", b"\xff", b"\xc3\xa9",
    b"\xef\xbb\xbf",
    "١٢".encode(), "\u202e".encode(), b"\r\n", b'"sets":', b'"id":', b"[" * 25, b"9" * 50, b'{"a":1,"a":2}',
]  # fmt: skip


def valid_body(chance: random.Random) -> bytes:
    sets = [set_body(load=chance.choice([0, 60.5, 100])) for _ in range(chance.randrange(3))]
    reports = [pain_body(id="7d0f3c1e-4f2b-4d0e-9a57-0d4b8a6f6b11", symptoms={"swollen_calf": "no"})]
    body = session_body(sets=sets, pain_reports=chance.choice([[], reports]), note="Grüße 🏋")
    return json.dumps(body, ensure_ascii=chance.random() < 0.5).encode()


def broken(chance: random.Random) -> bytes:
    """Random bytes, random tokens, or a valid body with up to four wounds."""
    kind = chance.random()
    if kind < 0.1:
        return chance.randbytes(chance.randrange(60))
    if kind < 0.25:
        return b"".join(chance.choices(TOKENS, k=chance.randrange(1, 14)))
    body = valid_body(chance)
    for _ in range(chance.randrange(5)):
        at = chance.randrange(len(body) + 1)
        length = chance.choice([0, 0, 1, 2, 20])
        filling = chance.choice([b"", chance.randbytes(1), chance.choice(TOKENS), body[at : at + 30]])
        body = body[:at] + filling + body[at + length :]
    return body


def check(body: bytes) -> bool:
    """Whether the parser took the body; what it took is JSON, means the same, and fits a database."""
    try:
        value = parse_json(body)
    except Problem as problem:
        assert problem.status_code == 400
        return False
    assert value == json.loads(body.decode(), parse_float=Decimal)
    text = json.dumps(value, ensure_ascii=False, default=str)
    assert "\\u0000" not in text
    text.encode()
    SessionIn(data=value).is_valid()  # says what is wrong with it, and raises nothing
    return True


def send(count: int) -> int:
    chance = random.Random(SEED)
    return sum(check(broken(chance)) for _ in range(count))


def test_two_thousand_bodies_are_read_as_meant_or_refused(db):
    assert 200 < send(2000) < 1800


@pytest.mark.long
def test_twenty_thousand_bodies_are_read_as_meant_or_refused(db):
    assert 2000 < send(20_000) < 18_000


def test_what_is_made_of_all_valid_bodies_is_taken():
    chance = random.Random(SEED)
    bodies: list[Any] = [valid_body(chance) for _ in range(20)]
    assert all(SessionIn(data=parse_json(body)).is_valid() for body in bodies)
