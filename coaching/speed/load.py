"""Apps that post and coaches who read for minutes, with nights meanwhile: what they wait, and is lost."""

import json
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg

from coaching.speed.measuring import Goal, Measured, measured_from
from coaching.speed.night import forget_beside_readers
from coaching.speed.own_database import ROOT, BenchError, OwnDatabase, own_database
from coaching.speed.serving import served, served_by_one_process
from coaching.speed.world import make_world

POSTS, READS = "posts", "reads"
CALM, WITH_NIGHT = "calm", "during nights"
CALM_SHARE = 0.4
PAUSE_S = 0.25
LOOKS_EVERY_S = 0.2
RESTS_S = 5.0
NIGHTS = ("score", "alert", "nightclient", "night")


@dataclass(frozen=True, slots=True)
class Answer:
    at: float
    took_ms: float
    status: int
    session: str


def goals() -> Sequence[Goal]:
    return tuple(
        Goal(
            f"{what} during nights against calm, p99", f"{what}, {WITH_NIGHT}", f"{what}, {CALM}", "p99_ms", 2
        )
        for what in (POSTS, READS)
    )


def run(
    folder: Path, sizes: Mapping[str, int], rounds: int, seed: int, tell: Callable[[str], object]
) -> Measured:
    """Each round lasts `seconds`: at first nobody but the crowd is at work, then nights as well."""
    found: dict[tuple[str, str], list[float]] = {}
    today = datetime.now(UTC).date()
    with own_database(folder) as own:
        make_world(
            own, clients=sizes["clients"], practices=1, weeks=sizes["weeks"],
            sets_per_session=sizes["sets_per_session"], seed=seed, until=today, tell=tell,
        )  # fmt: skip
        own.manage("night", "--on", today.isoformat())
        for number in range(rounds):
            people = _people(own, sizes)
            with _service(own) as port:
                tell(f"load, round {number + 1} of {rounds}: {sizes['seconds']} s")
                answers, nights = _round(own, port, people, sizes["seconds"], seed + number)
            for key, value in _figures(own, answers, nights, sizes["seconds"]).items():
                found.setdefault(key, []).append(value)
        return measured_from(found, suite="load", database=own.engine, sizes=sizes, goals=goals())


def _people(own: OwnDatabase, sizes: Mapping[str, int]) -> list[dict[str, Any]]:
    words = ("--posters", str(sizes["posters"]), "--readers", str(sizes["readers"]))
    found: list[dict[str, Any]] = json.loads(own.run("-m", "coaching.speed.people", *words).said)
    return found


@contextmanager
def _service(own: OwnDatabase) -> Iterator[int]:
    """As it runs on each engine: one process with its clock, or gunicorn's workers."""
    running = served_by_one_process(own) if own.engine == "sqlite" else served(own, "api.wsgi:application")
    with running as port:
        yield port


def _round(
    own: OwnDatabase, port: int, people: list[dict[str, Any]], seconds: int, seed: int
) -> tuple[list[Answer], list[tuple[float, float]]]:
    """Answers, and from when to when each night ran."""
    is_over = threading.Event()
    work = {"port": port, "people": people, "lasts_s": seconds, "pause_s": PAUSE_S, "seed": seed}
    with ThreadPoolExecutor(1) as beside:
        running = beside.submit(_run_nights, own, seconds * CALM_SHARE, is_over)
        try:
            done = subprocess.run(
                [sys.executable, "-m", "coaching.speed.crowd"], cwd=ROOT, env=own.env,
                input=json.dumps(work), text=True, stdout=subprocess.PIPE, timeout=seconds + 120,
            )  # fmt: skip
        finally:
            is_over.set()
        nights = running.result()
    if done.returncode != 0:
        raise BenchError("The crowd did not come to its end; what stopped it stands above.")
    return [Answer(*each) for each in json.loads(done.stdout)], nights


def _run_nights(own: OwnDatabase, after_s: float, is_over: threading.Event) -> list[tuple[float, float]]:
    """The same night again and again, by the clock of the served process or by one that a worker would be."""
    nights: list[tuple[float, float]] = []
    if is_over.wait(after_s):
        return nights
    while not is_over.is_set():
        forget_beside_readers(own, NIGHTS)
        if own.engine == "postgresql":
            began = time.time()
            own.run("-m", "coaching.speed.work_through")
            nights.append((began, time.time()))
        else:
            nights.extend(_night_by_the_clock(own, is_over))
        is_over.wait(RESTS_S)
    return nights


def _night_by_the_clock(own: OwnDatabase, is_over: threading.Event) -> Iterator[tuple[float, float]]:
    """Wait for the served process to have done it; nothing where the time is up before."""
    began: float | None = None
    while not is_over.wait(LOOKS_EVERY_S):
        with closing(sqlite3.connect(own.file, timeout=60)) as connection:
            found = [state for (state,) in connection.execute("SELECT status FROM coaching_night")]
        if found and began is None:
            began = time.time()
        if found and began is not None and set(found) == {"done"}:
            yield began, time.time()
            return


def _figures(
    own: OwnDatabase, answers: Sequence[Answer], nights: Sequence[tuple[float, float]], seconds: int
) -> dict[tuple[str, str], float]:
    """Raises BenchError where no night came to its end in time: there is nothing to compare with then."""
    if not nights:
        raise BenchError("No night came to its end in that time: take more seconds, or fewer clients.")
    begins = min(answer.at for answer in answers)
    found: dict[tuple[str, str], float] = {}
    for what, is_post in ((POSTS, True), (READS, False)):
        asked = [answer for answer in answers if bool(answer.session) == is_post]
        of_phase = {
            CALM: [each for each in asked if each.at < begins + seconds * CALM_SHARE],
            WITH_NIGHT: [each for each in asked if any(since <= each.at <= end for since, end in nights)],
        }
        for phase, some in of_phase.items():
            taken = sorted(each.took_ms for each in some)
            found[f"{what}, {phase}", "answers"] = len(taken)
            for figure, share in (("p50_ms", 0.5), ("p99_ms", 0.99)):
                found[f"{what}, {phase}", figure] = taken[min(len(taken) - 1, int(share * len(taken)))]
    stored = [answer.session for answer in answers if answer.session and answer.status in (200, 201)]
    return found | {
        ("all", "answers"): len(answers),
        ("all", "answers_5xx"): sum(answer.status >= 500 for answer in answers),
        ("all", "answers_4xx"): sum(400 <= answer.status < 500 for answer in answers),
        ("all", "sessions_stored"): len(stored),
        ("all", "sessions_lost"): len(stored) - _count(own, stored),
        ("all", "nights"): len(nights),
    }


def _count(own: OwnDatabase, sessions: Sequence[str]) -> int:
    """How many of these sessions are there."""
    if own.engine == "sqlite":
        with closing(sqlite3.connect(own.file)) as connection:
            there = {uid for (uid,) in connection.execute("SELECT uid FROM coaching_session")}
        return sum(each.replace("-", "") in there for each in sessions)
    with psycopg.connect(own.owner) as connection:
        asked = "SELECT count(*) FROM coaching_session WHERE uid = ANY(%s::uuid[])"
        ((count,),) = connection.execute(asked, [list(sessions)]).fetchall()
        return int(count)
