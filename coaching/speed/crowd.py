"""People who post and coaches who read, at once and for a while: `python -m coaching.speed.crowd`.

It reads one JSON object from the input, works until its time is up, and prints each answer: when it was
asked for, how long it took, its status, and for a post the id that it named.
"""

import json
import random
import sys
import threading
import time
import uuid
from collections.abc import Callable, Mapping, Sequence
from http.client import HTTPConnection
from typing import Any

from coaching.speed.bodies import session_body

SETS = 20
Answer = tuple[float, float, int, str]


def main() -> None:
    work = json.load(sys.stdin)
    until = time.time() + work["lasts_s"]
    lines: list[list[Answer]] = []
    threads = []
    for number, person in enumerate(work["people"]):
        lines.append([])
        steps = _posts if person["role"] == "poster" else _reads
        chance = random.Random(f"{work['seed']} {number}")  # noqa: S311 - invented
        door = _Door(work["port"], person["token"], lines[-1])
        threads.append(
            threading.Thread(target=_run, args=(steps(person, chance), door, until, work["pause_s"], chance))
        )
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    json.dump([answer for line in lines for answer in line], sys.stdout)


class _Door:
    """One connection that is kept, and opened anew where the server has closed it."""

    def __init__(self, port: int, token: str, answers: list[Answer]) -> None:
        self.connection = HTTPConnection("127.0.0.1", port, timeout=60)
        self.headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        self.answers = answers

    def ask(self, method: str, address: str, body: str | None, named: str) -> None:
        began, at = time.perf_counter(), time.time()
        self.connection.request(method, address, body, self.headers)
        answer = self.connection.getresponse()
        answer.read()
        self.answers.append((at, 1000 * (time.perf_counter() - began), answer.status, named))


Step = Callable[[_Door, int], None]


def _run(step: Step, door: _Door, until: float, pause_s: float, chance: random.Random) -> None:
    number = 0
    while time.time() < until:
        step(door, number)
        number += 1
        time.sleep(pause_s * (0.5 + chance.random()))


def _posts(person: Mapping[str, Any], chance: random.Random) -> Step:
    def post(door: _Door, day: int) -> None:
        uid = str(uuid.UUID(int=chance.getrandbits(128), version=4))
        body = json.dumps(session_body(day, sets=SETS, chance=chance))
        door.ask("PUT", f"/api/v1/sessions/{uid}", body, uid)

    return post


def _reads(person: Mapping[str, Any], chance: random.Random) -> Step:
    addresses: Sequence[str] = person["addresses"]

    def read(door: _Door, number: int) -> None:
        door.ask("GET", addresses[number % len(addresses)], None, "")

    return read


if __name__ == "__main__":
    main()
