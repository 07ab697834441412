"""No mass assignment: whatever column a model has, a body that may not write it is refused with its name."""

import json
from collections.abc import Iterator
from itertools import islice

import pytest
from django.apps import apps

from api.sessions import BatchIn
from tests.api.test_hostile_inputs import ALL_ROUTES, TEST_ORIGIN, Door, fields_of, put_at

COVETED = {
    "is_staff",
    "is_superuser",
    "owner",
    "score",
    "alert_state",
    "created_by",
    "practice_id",
    "pk",
    "uid",
}
KEYS_AT_ONCE = 20


def columns() -> list[str]:
    models = apps.get_app_config("coaching").get_models()
    names = {name for model in models for field in model._meta.fields for name in (field.name, field.attname)}
    return sorted(names | COVETED)


def some_at_a_time(names: list[str]) -> Iterator[list[str]]:
    left = iter(names)
    while some := list(islice(left, KEYS_AT_ONCE)):
        yield some


def places(route):
    """The body itself and every object within it."""
    yield (), set(route.serializer().fields)
    for path, field in fields_of(route.serializer()):
        inner = getattr(field, "child", field)
        if hasattr(inner, "fields"):
            yield (*path, *((0,) if inner is not field else ())), set(inner.fields)


def holds(body, path):
    for step in path:
        try:
            body = body[step]
        except (KeyError, IndexError):
            return None
    return body


@pytest.mark.parametrize(
    "name", [name for name, route in ALL_ROUTES.items() if route.serializer is not BatchIn]
)
def test_every_column_that_is_not_offered_is_refused_by_name(cast, signed_in, settings, time_machine, name):
    time_machine.move_to("2026-03-02T20:00:00Z")
    settings.WEBHOOK_TEST_ADDRESSES = [TEST_ORIGIN]
    route = ALL_ROUTES[name]
    door = Door(route, cast, signed_in)
    # `id` is offered to apps by the posts that make something.
    for path, offered in places(route):
        inner = holds(door.body, path)
        if not isinstance(inner, dict):
            continue
        for some in some_at_a_time([key for key in columns() if key not in offered | {"id"}]):
            spoiled = inner | dict.fromkeys(some, "any")
            whole = put_at(door.body, path, spoiled) if path else spoiled
            answer = door.send(json.dumps(whole).encode())
            assert answer.status_code == 422
            told = {fault["pointer"].rsplit("/", 1)[1] for fault in answer.json()["errors"]}
            assert set(some) <= told, (path, set(some) - told)
            door.sent += 1
    assert door.stays_shut()
