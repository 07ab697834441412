"""Client apps that post sessions and keep to the rule of the queue: repeat until it is acknowledged."""

import random
import threading
import time
import uuid
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import httpx

from tests.faults.processes.world import now, session_at

MAY_TAKE_S = 30.0
PAUSE_S = 0.3
SETS = 20


@dataclass
class Posted:
    """What all devices were told; `acknowledged` holds the bodies by id."""

    acknowledged: dict[str, tuple[str, dict[str, Any]]] = field(default_factory=dict)
    statuses: dict[int, int] = field(default_factory=dict)
    broken: int = 0
    without_retry_after: int = 0
    answered_at_s: list[float] = field(default_factory=list)
    longest_s: float = 0.0


class Devices:
    """One thread for each token; they post until told to stop, and what is begun is brought to its end."""

    def __init__(self, url: str, tokens: list[str], *, pause_s: float = PAUSE_S) -> None:
        self.url = url
        self.posted = Posted()
        self._pause_s = pause_s
        self._lock = threading.Lock()
        self._is_stopping = threading.Event()
        self._threads = [
            threading.Thread(target=self._post_on, args=(token, number), daemon=True)
            for number, token in enumerate(tokens)
        ]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def stop(self, within_s: float = 120) -> None:
        self._is_stopping.set()
        for thread in self._threads:
            thread.join(within_s)
            assert not thread.is_alive(), "a device is still waiting for its acknowledgement"

    def _post_on(self, token: str, number: int) -> None:
        chance = random.Random(number)
        with httpx.Client(base_url=self.url, timeout=MAY_TAKE_S) as app:
            app.headers["Authorization"] = f"Bearer {token}"
            while not self._is_stopping.is_set():
                at = now() - timedelta(minutes=chance.randrange(30, 300))
                body = session_at(at, pain=chance.randrange(3), reps=SETS * 5, sets=SETS)
                self._until_acknowledged(app, str(uuid.uuid4()), token, body)
                time.sleep(self._pause_s * chance.random())

    def _until_acknowledged(self, app: httpx.Client, uid: str, token: str, body: dict[str, Any]) -> None:
        while True:
            began = time.monotonic()
            try:
                answer = app.put(f"/api/v1/sessions/{uid}", json=body)
            except httpx.TransportError:
                with self._lock:
                    self.posted.broken += 1
                time.sleep(0.2)
                continue
            self._note(answer, time.monotonic() - began)
            if answer.status_code in (200, 201):
                with self._lock:
                    self.posted.acknowledged[uid] = (token, body)
                return
            assert answer.status_code in (429, 500, 502, 503), answer.text
            time.sleep(0.2)

    def _note(self, answer: httpx.Response, took_s: float) -> None:
        with self._lock:
            posted = self.posted
            posted.statuses[answer.status_code] = posted.statuses.get(answer.status_code, 0) + 1
            posted.longest_s = max(posted.longest_s, took_s)
            posted.without_retry_after += answer.status_code == 503 and "Retry-After" not in answer.headers
            if answer.status_code in (200, 201):
                posted.answered_at_s.append(time.monotonic())


def missing(url: str, posted: Posted) -> list[str]:
    """The acknowledged sessions that are not there, or not as they were sent; asked as their own devices."""
    wrong = []
    with httpx.Client(base_url=url, timeout=MAY_TAKE_S) as app:
        for uid, (token, body) in posted.acknowledged.items():
            answer = app.get(f"/api/v1/sessions/{uid}", headers={"Authorization": f"Bearer {token}"})
            if answer.status_code != 200 or _meant(answer.json()) != _meant(body):
                wrong.append(uid)
    return wrong


def _meant(session: dict[str, Any]) -> Any:
    sets = [
        (row["id"], row["exercise"], float(row["load"]), row["reps"], row["rir"]) for row in session["sets"]
    ]
    pain = sorted((row["id"], row["moment"], row["pain"]) for row in session["pain_reports"])
    return sets, pain
