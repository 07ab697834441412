"""Posts of sessions: ours one by one and in batches, a bare view with the ORM, and the tables alone."""

import json
import random
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg

from coaching.speed.bodies import rows_again, session_body
from coaching.speed.measuring import Contender, Figures, Goal, Measured, measure
from coaching.speed.own_database import ROOT, BenchError, OwnDatabase, own_database
from coaching.speed.serving import served

OURS, BARE, RAW, BATCH = "put", "bare view with the ORM", "inserts alone", "batch"
FEW_SYNC, MORE_SYNC = "put, 2 sync workers", "put, 4 sync workers"
OF_BATCH = 100
PROCESSES = 2  # of posters: one for each of the two processors that the goals are for
SERVICE, BARE_APP = "api.wsgi:application", "coaching.speed.bare_web:application"


def goals() -> Sequence[Goal]:
    return (
        Goal("posts a second against the bare view", OURS, BARE, "posts_per_s", 0.6, is_at_most=False),
        Goal("posts a second against inserts alone", OURS, RAW, "posts_per_s", 0.3, is_at_most=False),
        Goal("a batch's sessions a second against put", BATCH, OURS, "posts_per_s", 3, is_at_most=False),
        Goal("2 sync workers against threads", FEW_SYNC, OURS, "posts_per_s"),
        Goal("4 sync workers against threads", MORE_SYNC, OURS, "posts_per_s"),
    )


@dataclass(slots=True)
class _Crowd:
    """Posters with the days that they have not trained on yet."""

    people: list[dict[str, Any]]
    chance: random.Random
    next_day: int = 0

    def days(self, count: int) -> range:
        days = range(self.next_day, self.next_day + count)
        self.next_day += count
        return days


@dataclass(frozen=True, slots=True)
class _Bench:
    own: OwnDatabase
    posters: int
    posts: int
    sets: int
    seed: int
    ports: dict[str, int] = field(default_factory=dict)
    crowds: dict[str, _Crowd] = field(default_factory=dict)
    rows: dict[str, Any] = field(default_factory=dict)

    def crowd(self, name: str) -> _Crowd:
        if name not in self.crowds:
            people = json.loads(
                self.own.run(
                    "-m", "coaching.speed.people", "--posters", str(self.posters), "--readers", "0"
                ).said
            )
            self.crowds[name] = _Crowd(people, random.Random(f"{self.seed} {name}"))  # noqa: S311 - invented
        return self.crowds[name]

    def put(self, server: str) -> Figures:
        crowd = self.crowd(server)
        days = crowd.days(self.posts // self.posters)
        posts = [
            [("PUT", f"/api/v1/sessions/{_uid(crowd.chance)}", self._body(crowd, day)) for day in days]
            for _ in crowd.people
        ]
        return self._sent(crowd, posts, {"port": self.ports[server]})

    def batch(self) -> Figures:
        crowd = self.crowd(BATCH)
        posts = []
        days = crowd.days(OF_BATCH)
        for _ in crowd.people:
            items = [self._item(crowd, day) for day in days]
            posts.append([("POST", "/api/v1/sessions/batch", json.dumps({"items": items}))])
        return self._sent(crowd, posts, {"port": self.ports[OURS]}, sessions_each=OF_BATCH)

    def bare(self) -> Figures:
        crowd = self.crowd(BARE)
        days = crowd.days(self.posts // self.posters)
        posts = [[("POST", "/store", self._rows(crowd, day)) for day in days] for _ in crowd.people]
        return self._sent(crowd, posts, {"port": self.ports[BARE]})

    def raw(self) -> Figures:
        crowd = self.crowd(RAW)
        days = crowd.days(self.posts // self.posters)
        posts = [
            [self._whole(rows_again(self.rows, day, crowd.chance), person) for day in days]
            for person in crowd.people
        ]
        where = {"file": str(self.own.file)}
        if self.own.engine == "postgresql":
            where = {"database": self.own.env["DATABASE_URL"]}
        return self._sent(crowd, posts, where)

    def _body(self, crowd: _Crowd, day: int) -> str:
        return json.dumps(session_body(day, sets=self.sets, chance=crowd.chance))

    def _item(self, crowd: _Crowd, day: int) -> dict[str, Any]:
        body = session_body(day, sets=self.sets, chance=crowd.chance)
        return body | {"id": _uid(crowd.chance)}

    def _rows(self, crowd: _Crowd, day: int) -> str:
        return json.dumps(rows_again(self.rows, day, crowd.chance))

    def _whole(self, rows: dict[str, Any], person: dict[str, Any]) -> dict[str, Any]:
        """With all columns that the tables ask for, as the database has them."""
        now = datetime.now(UTC).isoformat(sep=" ")
        ours = {"practice_id": person["practice_id"]}
        own = ours | {"client_id": person["client_id"]}
        uid = rows["session"]["uid"]
        audit = {"at": now, "action": "create", "record_kind": "session", "record_id": uid, "detail": "{}"}
        by = {name: person[name] for name in ("account_id", "device_id", "subject_key")}
        change = {"kind": "session", "record_uid": uid, "is_deleted": False, "at": now}
        whole = {
            "session": own | rows["session"] | {"received_at": now},
            "sets": [ours | row for row in rows["sets"]],
            "pain_reports": [
                own | row | {"received_at": now, "symptoms": json.dumps(row["symptoms"])}
                for row in rows["pain_reports"]
            ],
            "joint_days": [own | row for row in rows["joint_days"]],
            "lift_days": [own | row for row in rows["lift_days"]],
            "audit": [ours | audit | by],
            "changes": [own | change],
        }
        return whole if self.own.engine == "postgresql" else _without_dashes(whole)

    def _sent(
        self, crowd: _Crowd, posts: list[list[Any]], where: dict[str, Any], *, sessions_each: int = 1
    ) -> Figures:
        self._look_at_tables()
        people = [person | {"posts": own} for person, own in zip(crowd.people, posts, strict=True)]
        shares = [people[place::PROCESSES] for place in range(PROCESSES)]
        with ExitStack() as stack:
            going = [
                stack.enter_context(_posting(self.own, where | {"posters": share}))
                for share in shares
                if share
            ]
            began = time.monotonic()
            took = [each for process in going for each in _took(process)]
            all_s = time.monotonic() - began
        took.sort()
        return {
            "posts_per_s": len(took) * sessions_each / all_s,
            "median_ms": 1000 * took[len(took) // 2],
            "p99_ms": 1000 * took[min(len(took) - 1, len(took) * 99 // 100)],
        }

    def _look_at_tables(self) -> None:
        """As autovacuum does within a minute: plans that were made for empty tables are made anew then."""
        if self.own.engine == "postgresql":
            with psycopg.connect(self.own.owner, autocommit=True) as owner:
                owner.execute("ANALYZE")


def _uid(chance: random.Random) -> str:
    return str(uuid.UUID(int=chance.getrandbits(128), version=4))


def _without_dashes(value: Any) -> Any:
    """An id as SQLite keeps it."""
    if isinstance(value, dict):
        return {key: _without_dashes(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_without_dashes(each) for each in value]
    is_id = isinstance(value, str) and len(value) == 36 and value.count("-") == 4
    return value.replace("-", "") if is_id else value


@contextmanager
def _posting(own: OwnDatabase, work: dict[str, Any]) -> Iterator["subprocess.Popen[str]"]:
    """A process of posters with everything in hand, which waits for a line to begin."""
    process = subprocess.Popen(
        [sys.executable, "-m", "coaching.speed.posting"],
        cwd=ROOT, env=own.env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert process.stdin is not None and process.stdout is not None  # noqa: S101 - as opened above
        process.stdin.write(json.dumps(work) + "\n")
        process.stdin.flush()
        if process.stdout.readline() != "ready\n":
            raise BenchError("The posters did not come to their start.")
        yield process
    finally:
        process.kill()
        process.wait()


def _took(process: "subprocess.Popen[str]") -> list[float]:
    said, _ = process.communicate()
    if process.returncode != 0 or not said:
        raise BenchError("A post failed; what it was answered stands above.")
    took: list[float] = json.loads(said)
    return took


def run(
    folder: Path, sizes: Mapping[str, int], rounds: int, seed: int, tell: Callable[[str], object]
) -> Measured:
    """Servers stand all the time and idle while another one is measured; every contender has own clients."""
    with ExitStack() as stack:
        own = stack.enter_context(own_database(folder))
        bench = _Bench(own, sizes["posters"], sizes["posts"], sizes["sets"], seed)
        # The embedded service is one process; elsewhere as the settings say.
        workers = ("-w", "1") if own.engine == "sqlite" else ()
        servers = {
            OURS: (SERVICE, *workers),
            BARE: (BARE_APP, *workers),
            FEW_SYNC: (SERVICE, "-k", "sync", "-w", "2"),
            MORE_SYNC: (SERVICE, "-k", "sync", "-w", "4"),
        }
        for name, (app, *words) in servers.items():
            env = {"DJANGO_SETTINGS_MODULE": "coaching.speed.bare_settings"} if app == BARE_APP else {}
            bench.ports[name] = stack.enter_context(served(own, app, *words, **env))
        bench.rows.update(_rows_of_one(bench))
        for contender in (few := _contenders(bench)):
            tell(f"ingest, warming up: {contender.name}")
            contender.run()
        return measure(
            suite="ingest", database=own.engine, sizes=sizes, contenders=few, goals=goals(), rounds=rounds,
            tell=tell,
        )  # fmt: skip


def _contenders(bench: _Bench) -> list[Contender]:
    return [
        Contender(OURS, lambda: bench.put(OURS)),
        Contender(BARE, bench.bare),
        Contender(RAW, bench.raw),
        Contender(BATCH, bench.batch),
        Contender(FEW_SYNC, lambda: bench.put(FEW_SYNC)),
        Contender(MORE_SYNC, lambda: bench.put(MORE_SYNC)),
    ]


def _rows_of_one(bench: _Bench) -> dict[str, Any]:
    """What one post of ours leaves behind, which the others insert as it is."""
    crowd = bench.crowd("one")
    uid = _uid(crowd.chance)
    body = session_body(0, sets=bench.sets, chance=crowd.chance)
    person = crowd.people[0] | {"posts": [("PUT", f"/api/v1/sessions/{uid}", json.dumps(body))]}
    with _posting(bench.own, {"port": bench.ports[OURS], "posters": [person]}) as process:
        _took(process)
    rows: dict[str, Any] = json.loads(bench.own.run("-m", "coaching.speed.left_behind", uid).said)
    return rows
