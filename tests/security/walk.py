"""Every address that can be read, asked by an owner of one practice with the ids of another's rows."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.apps import apps
from django.urls import URLPattern, get_resolver

from coaching.models import Exercise, Practice
from coaching.models.client import ClientQuerySet
from coaching.models.exercise import ExerciseQuerySet
from coaching.models.scoped import OfPractice, ScopedQuerySet
from tests.constraint_rows import SMALLEST, World, insert, world

OF_NOBODY = {"api/v1/schema", "api/v1/docs"}
FIXED = {"number": 1, "joint": "knee", "side": "left", "purpose": "health_data", "token": "fbrcal_any"}
NEEDED = {
    "api/v1/clients/<uuid:client_id>/scheduled-sessions": "?from=2026-02-02&until=2026-03-30",
    "api/v1/exercises/<slug:code>/swaps": "?joint=knee&side=left",
}
NAMED = {
    "client_id": "Client",
    "membership_id": "Membership",
    "injury_id": "Injury",
    "plan_id": "Plan",
    "assignment_id": "Assignment",
    "scheduled_session_id": "ScheduledSession",
    "session_id": "Session",
    "report_id": "PainReport",
    "alert_id": "Alert",
    "referral_id": "Referral",
    "webhook_id": "Webhook",
}

OF_PRACTICES = [kind for kind in apps.get_app_config("coaching").get_models() if issubclass(kind, OfPractice)]


@dataclass(frozen=True)
class Elsewhere:
    """A practice with a row of every kind: the ids by which its rows are asked for, and all ids it has."""

    values: dict[str, Any]
    ids: set[str]


def make_elsewhere() -> Elsewhere:
    rows = world()
    for kind in OF_PRACTICES:
        if kind in SMALLEST:
            insert(kind, rows)
    own = _own_exercise(rows)
    of_kind = {kind.__name__: _uids(kind, rows) for kind in OF_PRACTICES if hasattr(kind, "uid")}
    values = {name: of_kind[kind][-1] for name, kind in NAMED.items()}
    values |= FIXED | {"client_id": rows.client.uid, "code": own.code}
    return Elsewhere(values, {str(uid) for uids in of_kind.values() for uid in uids})


def _uids(kind: Any, rows: World) -> list[Any]:
    if kind is Practice:
        return [rows.practice.uid]
    of_practice = kind._default_manager.filter(practice=rows.practice)
    return list(of_practice.order_by("pk").values_list("uid", flat=True))


def _own_exercise(rows: World) -> Exercise:
    return Exercise.objects.create(
        practice=rows.practice,
        code="secret_lift",
        name="Secret lift",
        equipment="barbell",
        load_basis="total",
        load_step_thousandths=2500,
        movement_pattern="squat",
    )


def readable() -> list[str]:
    return sorted(route for route in _routes(get_resolver().url_patterns) if route not in OF_NOBODY)


def _routes(patterns: Any, before: str = "") -> Iterator[str]:
    for pattern in patterns:
        route = before + str(pattern.pattern)
        if not isinstance(pattern, URLPattern):
            yield from _routes(pattern.url_patterns, route)
        elif hasattr(getattr(pattern.callback, "view_class", None), "get"):
            yield route


def address(route: str, values: dict[str, Any]) -> str:
    for name, value in values.items():
        for kind in ("uuid", "made", "str", "slug", "int"):
            route = route.replace(f"<{kind}:{name}>", str(value))
    assert "<" not in route, f"{route}: say in walk.py what stands in this place"
    return f"/{route}"


def without_filters(patch: pytest.MonkeyPatch) -> None:
    """As if every query of the code had forgotten the practice and who may see whom."""
    asked = ScopedQuerySet._filter_or_exclude

    def forget(rows: Any, negate: bool, args: Any, kwargs: dict[str, Any]) -> Any:
        kept = {name: value for name, value in kwargs.items() if name.split("__")[0] not in FORGOTTEN}
        return asked(rows, negate, args, kept)

    patch.setattr(ScopedQuerySet, "_filter_or_exclude", forget)
    patch.setattr(ClientQuerySet, "visible_to", lambda rows, actor: rows.all())
    patch.setattr(ExerciseQuerySet, "known_to", lambda rows, practice_id: rows.all())


FORGOTTEN = ("practice", "practice_id")


def found_elsewhere(api: Any, route: str, there: Elsewhere) -> set[str]:
    """What an answer gives away: ids of another practice's rows, or a page about one of them."""
    asked = address(route, there.values)
    answer = api.get(asked + NEEDED.get(route, ""))
    told = answer.getvalue().decode(errors="replace").replace(asked, "")
    given_away = {uid for uid in there.ids if uid in told}
    if answer.status_code >= 500 or ("<" in route and answer.status_code != 404):
        given_away.add(f"answered {answer.status_code}")
    return given_away
