"""Roll-ups and scores made anew from the raw rows, and held against what is stored."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import models, transaction

from coaching.models import (
    Client,
    JointDay,
    LiftDay,
    Night,
    NightClient,
    NightClientState,
    NightStatus,
    PainReport,
    Practice,
    Score,
    Session,
)
from coaching.operations import rollups
from coaching.operations.nights import AT_MOST_NIGHTS_BACK, CHUNK
from coaching.operations.rescoring import ask_for_rescoring
from coaching.operations.scoring import METHOD, scores_of

# Sums of floats in another order differ in their last digits; scores keep six decimals.
RELATIVE, ABSOLUTE = 1e-9, 2e-6
NOT_FOUND_ANEW = ("id", "practice", "client", "scored_at", "revision")


@dataclass(frozen=True, slots=True)
class Difference:
    """A row that is stored otherwise than the raw rows say; `what` is missing, left over or differs."""

    record: str
    client: Client
    on: date
    key: str
    what: str


@dataclass(frozen=True, slots=True)
class Compared:
    """How many rows were held against the raw rows, and those that differ."""

    rows: int = 0
    differences: tuple[Difference, ...] = ()

    def plus(self, other: "Compared") -> "Compared":
        return Compared(self.rows + other.rows, self.differences + other.differences)


def compare_practice(practice: Practice, *, now: datetime, tell: Callable[[str], object]) -> Compared:
    """Every client's roll-ups, then the newest scores; `tell` hears how far it is."""
    compared = Compared()
    clients = Client.objects.filter(practice=practice).order_by("id")
    there = clients.count()
    for number, client in enumerate(clients.iterator(chunk_size=500), start=1):
        compared = compared.plus(compare_rollups(client))
        tell(f"{practice.name}: roll-ups of {number:,} of {there:,} clients")
    for found in compare_scores(practice, now=now):
        compared = compared.plus(found)
        tell(f"{practice.name}: {compared.rows:,} roll-ups and scores")
    return compared


def compare_rollups(client: Client) -> Compared:
    """The joint days and lift days of all of a client's days."""
    days = _days_of(client)
    joint_days, lift_days = rollups.rollups_of(client=client, days=days)
    joints = _compare(client, "joint day", JointDay.objects.filter(client=client), joint_days)
    lifts = _compare(client, "lift day", LiftDay.objects.filter(client=client), lift_days)
    return joints.plus(lifts)


def _days_of(client: Client) -> set[date]:
    trained = Session.objects.kept().filter(client=client).values_list("performed_on", flat=True)
    felt = PainReport.objects.filter(client=client).values_list("felt_on", flat=True)
    return {*trained, *felt}


def _compare(client: Client, record: str, stored: Iterable[Any], anew: Iterable[Any]) -> Compared:
    held = {_key(row): row for row in stored}
    made = {_key(row): row for row in anew}
    found = []
    for key in sorted({*held, *made}):
        what = _what_differs(held.get(key), made.get(key))
        if what:
            on, *rest = key
            found.append(Difference(record, client, on, " ".join(map(str, rest)), what))
    return Compared(len({*held, *made}), tuple(found))


def _key(row: JointDay | LiftDay) -> tuple[Any, ...]:
    if isinstance(row, JointDay):
        return row.day_on, row.joint, row.side
    return row.day_on, row.exercise_id, row.side, row.track


def _what_differs(stored: models.Model | None, anew: models.Model | None) -> str:
    if stored is None:
        return "missing"
    if anew is None:
        return "left over"
    names = [
        field.name
        for field in stored._meta.concrete_fields
        if field.name not in NOT_FOUND_ANEW
        and not _is_same(getattr(stored, field.attname), getattr(anew, field.attname))
    ]
    return f"{', '.join(names)} differ" if names else ""


def _is_same(stored: Any, anew: Any) -> bool:
    """Equal but for the last digits of a float, in nested values too."""
    if isinstance(stored, Mapping) and isinstance(anew, Mapping):
        return stored.keys() == anew.keys() and all(_is_same(stored[key], anew[key]) for key in stored)
    if isinstance(stored, list) and isinstance(anew, list):
        return len(stored) == len(anew) and all(map(_is_same, stored, anew))
    if isinstance(stored, float) and isinstance(anew, float):
        return math.isclose(stored, anew, rel_tol=RELATIVE, abs_tol=ABSOLUTE)
    return bool(stored == anew)


def compare_scores(practice: Practice, *, now: datetime) -> Iterator[Compared]:
    """The newest scores that a late post could still change, night by night; one item for each chunk.

    Clients who wait to be scored again, duplicates that were merged, and scores of an older method, are left
    out.
    """
    done = Night.objects.filter(practice=practice, status=NightStatus.DONE).order_by("-night_on")
    for night in done[:AT_MOST_NIGHTS_BACK]:
        newest = _newest_items(night)
        for start in range(0, len(newest), CHUNK):
            yield _compare_scores(night, newest[start : start + CHUNK], now)


def _newest_items(night: Night) -> list[NightClient]:
    rows = NightClient.objects.filter(
        night=night,
        state=NightClientState.SCORED,
        client__dirty_from_on__isnull=True,
        client__merged_into__isnull=True,
    )
    newest = {row.client_id: row for row in rows.select_related("client").order_by("client_id", "revision")}
    return list(newest.values())


def _compare_scores(night: Night, items: Sequence[NightClient], now: datetime) -> Compared:
    rows = Score.objects.filter(client_id__in=[item.client_id for item in items], night_on=night.night_on)
    stored = {(row.client_id, row.revision): row for row in rows}
    known = [item for item in items if _is_comparable(stored.get((item.client_id, item.revision)))]
    anew = {row.client_id: row for row in scores_of(items=known, night_on=night.night_on, now=now)}
    found = []
    for item in known:
        what = _what_differs(stored.get((item.client_id, item.revision)), anew[item.client_id])
        if what:
            key = f"revision {item.revision}"
            found.append(Difference("score", item.client, night.night_on, key, what))
    return Compared(len(known), tuple(found))


def _is_comparable(stored: Score | None) -> bool:
    return stored is None or stored.method == METHOD


@transaction.atomic
def mend(client: Client, differences: Iterable[Difference]) -> None:
    """Write the roll-ups anew, and let the next tick score again the nights that rest on them."""
    locked = Client.objects.select_for_update().get(id=client.id)
    rollup_days = {each.on for each in differences if each.record != "score"}
    if rollup_days:
        rollups.rebuild_days(client=locked, days=rollup_days)
    # A night sees the days before its own.
    seen_days = {each.on - date.resolution for each in differences if each.record == "score"} | rollup_days
    if seen_days:
        ask_for_rescoring(client=locked, from_on=min(seen_days))
