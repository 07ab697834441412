"""A client's phone with its queue: it repeats each request until it is acknowledged, as the README says."""

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import time_machine
from django.conf import settings
from django.db import close_old_connections
from rest_framework.test import APIClient

from tests.bodies import pain_body, session_body, set_body
from tests.faults.nth.forks import Tell

POSTED_AT = datetime(2026, 3, 2, 19, 0, tzinfo=UTC)
COMES_AGAIN_AFTER_S = 5
TRIES_AT_MOST = 20
NAMES = uuid.UUID("6c0d6f5c-24a4-45c5-9a4e-0a1d7f6e2b07")
ACKNOWLEDGED = {"PUT": {200, 201}, "POST": {200, 201}, "DELETE": {204, 410}}


@dataclass(frozen=True, slots=True)
class Request:
    """`urgent` is what the answer must say at once, whichever answer is the one that arrives."""

    method: str
    address: str
    body: Any = None
    version: str = ""
    urgent: tuple[str, ...] = ()


def named(*what: Any) -> str:
    return str(uuid.uuid5(NAMES, " ".join(map(str, what))))


def a_session(name: str, n_sets: int, *, on: str = "2026-03-02", **changes: Any) -> dict[str, Any]:
    sets = [set_body(id=named(name, "set", number), reps=5 + number % 3) for number in range(n_sets)]
    times = {"performed_at": f"{on}T18:00:00+01:00", "ended_at": f"{on}T18:40:00+01:00"}
    return session_body(sets=sets, pain_reports=[], **times) | changes


def reports_of_an_evening() -> list[dict[str, Any]]:
    reports = [pain_body(id=named("report", moment), moment=moment) for moment in ("during", "after")]
    calf = pain_body(id=named("calf"), joint="ankle", symptoms={"swollen_calf": "yes"})
    return [*reports, calf]


def queue() -> list[Request]:
    """A session with a red flag, five at once, an edit, a report alone, and one taken back."""
    evening = a_session("evening", 20, pain_reports=reports_of_an_evening())
    at_once = [a_session(f"day {day}", 4, on=f"2026-02-2{day}") for day in range(1, 6)]
    items = [body | {"id": named("session", day)} for day, body in enumerate(at_once, start=1)]
    flag = ("red_flag",)
    return [
        Request("PUT", f"sessions/{named('evening')}", evening, urgent=flag),
        Request("POST", "sessions/batch", {"items": items}),
        Request("PUT", f"sessions/{named('evening')}", evening | {"note": "Felt better."}, '"1"', flag),
        Request("PUT", f"pain-reports/{named('alone')}", pain_body(moment="next_morning")),
        Request("DELETE", f"sessions/{named('session', 3)}", version='"1"'),
    ]


class Device:
    """Its book is what it tells: a line for each request acknowledged, and for each to be repeated."""

    at = 0  # of the queue

    def __init__(self) -> None:
        self._app = APIClient(raise_request_exception=False)
        self._app.credentials(HTTP_AUTHORIZATION=f"Bearer {token_file().read_text()}")

    def send_all(self, tell: Tell, *, since: int = 0) -> None:
        for Device.at in range(since, len(queue())):
            self._send_until_acknowledged(queue()[Device.at], tell)
            tell("acknowledged")

    def send(self, request: Request) -> Any:
        headers = {"If-Match": request.version} if request.version else {}
        call = getattr(self._app, request.method.lower())
        with clock():
            answer = call(f"/api/v1/{request.address}", request.body, format="json", headers=headers)
        close_old_connections()  # as the server does between requests; the test client leaves it out
        return answer

    def _send_until_acknowledged(self, request: Request, tell: Tell) -> None:
        for _ in range(TRIES_AT_MOST):
            answer = self.send(request)
            if is_kept(answer, request):
                tell("to be repeated")
                if answer.status_code == 503 and int(answer.headers.get("Retry-After", 0)) > 0:
                    continue
            for complaint in complaints_about(answer, request):
                tell(f"complaint: {request.method} {request.address}: {complaint}")
            if not is_kept(answer, request):
                return
        tell(f"complaint: {request.method} {request.address} was never acknowledged")


def is_kept(answer: Any, request: Request) -> bool:
    """Whether the device keeps the request in its queue: on 5xx, 429, or where an item of it was such."""
    return any(status >= 500 or status == 429 for status in statuses_of(answer, request))


def statuses_of(answer: Any, request: Request) -> list[int]:
    items = answer.json()["items"] if request.method == "POST" and answer.status_code == 200 else []
    return [answer.status_code, *(item["status"] for item in items)]


def complaints_about(answer: Any, request: Request) -> Iterator[str]:
    statuses = statuses_of(answer, request)
    wrong = [status for status in statuses if status not in ACKNOWLEDGED[request.method]]
    if wrong:
        yield f"answered {wrong}, Retry-After {answer.headers.get('Retry-After')}: {answer.content[:200]!r}"
    elif request.method == "PUT":
        told = tuple(notice["kind"] for notice in answer.json()["urgent"])
        if told != request.urgent:
            yield f"it must say {request.urgent} at once, and says {told}"


def token_file() -> Path:
    return Path(settings.VAR_DIR).parent / "token"


@contextmanager
def clock() -> Iterator[None]:
    with time_machine.travel(POSTED_AT, tick=False):
        yield
