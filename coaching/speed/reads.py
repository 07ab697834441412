"""What a coach waits for, under gunicorn, against the same JSON served from memory by a bare Django view."""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

from coaching.speed.bare_views import FOLDER
from coaching.speed.measuring import Contender, Goal, Measured, measure
from coaching.speed.own_database import OwnDatabase, made_in, own_database
from coaching.speed.serving import Reader, latencies, served
from coaching.speed.world import make_world

SHEET, HISTORY, SESSIONS = "sheet", "history", "sessions"
WHAT = {SHEET: "morning sheet", HISTORY: "history of 52 weeks", SESSIONS: "page of 50 sessions"}
BARE, HELD = "bare view", "304"


def goals() -> Iterator[Goal]:
    """For the sheet there is a goal; the rest is told."""
    for name, what in WHAT.items():
        limit = 3.0 if name == SHEET else None
        yield Goal(f"{what} against a bare view, p99", what, f"{what}, {BARE}", "p99_ms", limit)
        yield Goal(f"{what} against a bare view, p50", what, f"{what}, {BARE}", "p50_ms")
        yield Goal(f"{what} that is held against the whole, p50", f"{what}, {HELD}", what, "p50_ms")


def contenders(
    ours: int, bare: int, asked: Mapping[str, str], token: str, tags: Mapping[str, str], requests: int
) -> Sequence[Contender]:
    signed = {"Authorization": f"Bearer {token}"}
    found = []
    for name, address in asked.items():
        held = signed | {"If-None-Match": tags[name]}
        found += [
            _asking(WHAT[name], ours, address, signed, requests, 200),
            _asking(f"{WHAT[name]}, {HELD}", ours, address, held, requests, 304),
            _asking(f"{WHAT[name]}, {BARE}", bare, f"/{name}", {}, requests, 200),
        ]
    return found


def _asking(
    name: str, port: int, address: str, headers: Mapping[str, str], requests: int, status: int
) -> Contender:
    return Contender(name, lambda: latencies(port, address, headers, requests=requests, status=status))


def run(
    folder: Path, sizes: Mapping[str, int], rounds: int, seed: int, tell: Callable[[str], object]
) -> Measured:
    """One practice whose coach has all its clients, after a night."""
    with ExitStack() as stack:
        own = stack.enter_context(own_database(made_in(folder, "reads")))
        reader = _morning(own, sizes, seed, tell)
        client = f"/api/v1/clients/{reader['client']}"
        asked = {
            SHEET: "/api/v1/morning-sheet",
            HISTORY: f"{client}/history?weeks=52",
            SESSIONS: f"{client}/sessions?page_size=50",
        }
        ours = stack.enter_context(served(own, "api.wsgi:application"))
        tags = _keep_bodies(own, ours, asked, reader["token"])
        settings = {"DJANGO_SETTINGS_MODULE": "coaching.speed.bare_settings", FOLDER: str(own.folder)}
        bare = stack.enter_context(served(own, "coaching.speed.bare_web:application", **settings))
        return measure(
            suite="reads", database=own.engine, sizes=sizes, goals=goals(), rounds=rounds, tell=tell,
            contenders=contenders(ours, bare, asked, reader["token"], tags, sizes["requests"]),
        )  # fmt: skip


def _morning(
    own: OwnDatabase, sizes: Mapping[str, int], seed: int, tell: Callable[[str], object]
) -> Mapping[str, str]:
    today = datetime.now(UTC).date()
    make_world(
        own, clients=sizes["clients"], practices=1, weeks=sizes["weeks"],
        sets_per_session=sizes["sets_per_session"], seed=seed, until=today, tell=tell,
    )  # fmt: skip
    own.manage("night", "--on", today.isoformat())
    said: Mapping[str, str] = json.loads(own.run("-m", "coaching.speed.morning", "--seed", str(seed)).said)
    return said


def _keep_bodies(own: OwnDatabase, port: int, asked: Mapping[str, str], token: str) -> Mapping[str, str]:
    """The answers in files, for the bare view, and their tags."""
    reader, tags = Reader(port), {}
    for name, address in asked.items():
        answered = reader.get(address, {"Authorization": f"Bearer {token}"})
        (own.folder / f"{name}.json").write_bytes(answered.body)
        tags[name] = answered.headers["ETag"]
    reader.close()
    return tags
