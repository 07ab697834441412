"""Sixteen weeks of posts, with the clients' own tokens: singly, in batches, twice, and late."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import uuid5
from zoneinfo import ZoneInfo

from coaching.demo.practice import DemoClient, DemoPractice
from coaching.demo.service import DemoError
from coaching.demo.training import NAMESPACE, ZONE, SkippedDay, TrainedDay, days_of

BATCH = 12


@dataclass(frozen=True, slots=True)
class Posted:
    """How much went over the wire; `late` waits until the nights have run."""

    sessions: int = 0
    mornings: int = 0
    replays: int = 0
    late: tuple[tuple[DemoClient, TrainedDay], ...] = ()


def post_everything(made: DemoPractice, start_on: date, today: date, tell: Callable[[str], None]) -> Posted:
    """Post what every client did up to yesterday; what is to come late is kept back and returned."""
    total = Posted()
    for client in made.clients:
        days = list(days_of(client.story, start_on, today))
        trained = [day for day in days if isinstance(day, TrainedDay)]
        late = [day for day in trained if is_late(client, day, today)]
        trained = [day for day in trained if day not in late]
        replays = _post_sessions(client, trained)
        mornings = _post_mornings(client, trained, today)
        skipped = [day for day in days if isinstance(day, SkippedDay)]
        if client.story.says_not_done and skipped:
            _say_not_done(client, skipped)
        total = replace(
            total,
            sessions=total.sessions + len(trained),
            mornings=total.mornings + mornings,
            replays=total.replays + replays,
            late=(*total.late, *((client, day) for day in late)),
        )
        tell(f"{client.story.name}: {len(trained)} sessions, {mornings} other pain reports")
    return total


def post_late(posted: Posted) -> int:
    """Post what was kept back; the nights that it touches are scored again at the next tick."""
    for client, day in posted.late:
        client.person.ask("PUT", f"/sessions/{day.session_id}", day.body)
    return len(posted.late)


def is_late(client: DemoClient, day: TrainedDay, today: date) -> bool:
    days_ago = client.story.late_days_ago
    return days_ago is not None and days_ago - 2 <= (today - day.day).days <= days_ago


def _post_sessions(client: DemoClient, trained: list[TrainedDay]) -> int:
    if client.story.posts_in_batches:
        for first in range(0, len(trained), BATCH):
            _post_batch(client, trained[first : first + BATCH])
        return 0
    for day in trained:
        client.person.ask("PUT", f"/sessions/{day.session_id}", day.body)
    if not client.story.posts_twice:
        return 0
    for day in trained[-6:]:
        client.person.ask("PUT", f"/sessions/{day.session_id}", day.body)
    return len(trained[-6:])


def _post_batch(client: DemoClient, days: list[TrainedDay]) -> None:
    items = [{"id": day.session_id, **day.body} for day in days]
    answer = client.person.ask("POST", "/sessions/batch", {"items": items})
    refused = [item for item in answer["items"] if item["status"] != 201]
    if refused:
        raise DemoError(f"A batch item was answered {refused[0]}.")


def _post_mornings(client: DemoClient, trained: list[TrainedDay], today: date) -> int:
    bodies = [(day.morning_id, day.morning_body) for day in trained if day.morning_body is not None]
    last_word = client.story.last_word_days_ago
    if last_word is not None:
        bodies.append(_last_word(client, today - timedelta(days=last_word)))
    for uid, body in bodies:
        client.person.ask("PUT", f"/pain-reports/{uid}", body)
    return len(bodies)


def _last_word(client: DemoClient, day: date) -> tuple[str, dict[str, Any]]:
    joint, side = client.story.pain_site or ("knee", "left")
    at = datetime.combine(day, time(12), ZoneInfo(ZONE))
    body = {"joint": joint, "side": side, "moment": "at_rest", "pain": 1, "reported_at": at.isoformat()}
    return str(uuid5(NAMESPACE, f"{client.story.key}:{day}:rest")), body


def _say_not_done(client: DemoClient, skipped: list[SkippedDay]) -> None:
    first, last = skipped[0].day, skipped[-1].day
    path = f"/clients/{client.uid}/scheduled-sessions"
    calendar = client.person.ask("GET", f"{path}?from={first}&until={last}")
    days = {str(day.day) for day in skipped}
    for row in calendar["items"]:
        if row["due_on"] in days:
            client.person.ask("PATCH", f"{path}/{row['id']}", {"status": "not_done"}, version=row["version"])
