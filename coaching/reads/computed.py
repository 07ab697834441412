"""How numbers came about: the method with its version, and the local days that it looked at."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

from coaching.compute import adherence, progress
from coaching.compute.scheduled_sessions import DEFAULT_SETTINGS as ADHERENCE
from coaching.models import Alert, Score

LIFT_WINDOW_DAYS = progress.DEFAULT_SETTINGS.window_days


@dataclass(frozen=True, slots=True)
class Computed:
    """`from_on` and `until_on` are both looked at; None: not of days, or without a beginning."""

    method: str
    version: str
    from_on: date | None = None
    until_on: date | None = None


def computed_over(method: str, version: str, until_on: date, days: int) -> Computed:
    """Computed from as many days, of which the last is `until_on`."""
    return Computed(method, version, until_on - timedelta(days=days - 1), until_on)


def _of_night(named: str, night_on: date, days: int) -> Computed:
    """By a method as rows keep it, "name version"; a night sees the days before its own."""
    return computed_over(*_parted(named), night_on - timedelta(days=1), days)


def _parted(named: str) -> tuple[str, str]:
    method, _, version = named.rpartition(" ")
    return method, version


def computed_of_alert(alert: Alert) -> Computed:
    """The days are those of its evidence."""
    return computed_of_evidence(alert.method, alert.evidence)


def computed_of_evidence(method: str, evidence: Mapping[str, Any]) -> Computed:
    return Computed(*_parted(method), _day(evidence.get("from_on")), _day(evidence.get("to_on")))


def computed_of_score(score: Score) -> Computed:
    return _of_night(score.method, score.night_on, ADHERENCE.score_days)


def adherence_parts_of(score: Score) -> dict[str, Any] | None:
    """Adherence taken apart; None in scores from before it."""
    parts: dict[str, Any] | None = score.details.get("adherence")
    if parts is None:
        return None
    return parts | {"computed": _of_night(parts["method"], score.night_on, ADHERENCE.score_days)}


@lru_cache(maxsize=64)
def computed_of_lift(method: str, night_on: date) -> Computed:
    """The same for all lifts of a night, of which a sheet may show many hundred."""
    return _of_night(method, night_on, LIFT_WINDOW_DAYS)


def scored_lifts_of(score: Score) -> list[dict[str, Any]]:
    """What each lift came to."""
    return [
        row | {"computed": computed_of_lift(row["method"], score.night_on)}
        for row in score.details.get("lifts", [])
    ]


def computed_adherence(from_on: date, until_on: date) -> Computed:
    return Computed(adherence.METHOD, adherence.VERSION, from_on, until_on)


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
