"""`fields=`: a JSON answer with only what was asked for, and never without its words of safety."""

import re
from collections.abc import Mapping
from functools import cache
from typing import Any

from drf_spectacular.utils import PolymorphicProxySerializer
from rest_framework import serializers

from api.problems import Problem

# A caller who trims an answer may not trim these away, wherever in it they stand: what says stop, ask or
# refer out, what somebody may not do, and what says that a record is gone.
SAFETY_WORDS = frozenset(
    {
        "asks",
        "avoid",
        "caution",
        "cautions",
        "emergency_text",
        "flags",
        "gates",
        "instruction",
        "is_blocked",
        "is_deleted",
        "override_reason",
        "reasons",
        "refer_out",
        "restrictions",
        "review_note",
        "status",
        "symptoms",
        "to_confirm",
        "unscored",
        "urgency",
        "urgency_review_note",
        "urgent",
        "verdict",
        "withdrawal_asked_at",
    }
)
ALWAYS_KEPT = SAFETY_WORDS | {"id"}
PARAMETER = "fields"
MOST_CHARACTERS = 1000
MOST_NAMES = 100
PATH = re.compile(r"[A-Za-z0-9_:-]+(\.[A-Za-z0-9_:-]+){0,7}", re.ASCII)
DESCRIPTION = (
    "Only these fields, comma-separated; a dot leads into an object, or into every object of a list "
    "(`sets.load`). Of a list it is the items that are trimmed. Always kept, where there are any: "
    f"{', '.join(['id', *sorted(SAFETY_WORDS)])}."
)

# The names that an answer may have: each leads to those below it; None where any name may stand below.
Names = Mapping[str, Any]
Wanted = dict[str, Any]


def names_of(view: Any) -> Names | None:
    """The names by which the view's answer, or each item of its list, can be trimmed; None if it cannot."""
    names: Names | None = _declared(view)[0]
    return names["items"] if names and "items" in names else names


def is_listing(view: Any) -> bool:
    """Whether the answer is a list: its items are trimmed, and not what stands around them."""
    return _declared(view)[1]


@cache
def _declared(view: Any) -> tuple[Any, bool]:
    shape = _shape_of(view)
    names = None if shape is None else _below(shape)
    return names, isinstance(shape, serializers.ListSerializer) or "items" in (names or {})


def _shape_of(view: Any) -> serializers.BaseSerializer[Any] | None:
    """The serializer of the view's JSON answer to GET, as its documentation declares it; None if no JSON."""
    declared = getattr(getattr(view, "get", None), "kwargs", {}).get("schema")
    if declared is None:
        return None
    schema, asked = declared(), view()
    asked.request, asked.kwargs = None, {}  # where it looks for a version, in vain
    schema.view, schema.method = asked, "GET"
    answers = schema.get_response_serializers()
    shape = answers.get(200) if isinstance(answers, dict) else None
    shape = shape() if isinstance(shape, type) else shape
    return shape if isinstance(shape, serializers.BaseSerializer) else None


def _below(field: Any) -> Any:
    if isinstance(field, serializers.ListSerializer | serializers.ListField):
        return _below(field.child)
    if isinstance(field, PolymorphicProxySerializer):
        shapes: Any = field.serializers
        return {name: below for each in shapes for name, below in _below(each()).items()}
    if isinstance(field, serializers.DictField | serializers.JSONField):
        return None
    if isinstance(field, serializers.Serializer):
        return {name: _below(each) for name, each in field.fields.items()}
    return {}


def wanted_of(sent: str, names: Names) -> Wanted:
    """The fields that `sent` asks for, as a tree. Raises Problem (400) with the names that are known."""
    paths = sent.split(",")
    if len(sent) > MOST_CHARACTERS or len(paths) > MOST_NAMES:
        raise Problem("bad_parameter", 400, f"fields: At most {MOST_NAMES} names, {MOST_CHARACTERS} long.")
    wanted: Wanted = {}
    for path in paths:
        if not PATH.fullmatch(path):
            raise Problem("bad_parameter", 400, "fields: Give names like id,performed_at,sets.load.")
        _check(path, names)
        _plant(wanted, path.split("."))
    return wanted


def _check(path: str, names: Names) -> None:
    known: Any = names
    for depth, step in enumerate(steps := path.split(".")):
        if known is None:
            return
        if step not in known:
            place = ".".join(steps[:depth])
            listed = ", ".join(sorted(known)) or "nothing"
            where = f"below {place}" if place else "here"
            raise Problem("unknown_field", 400, f"fields: {step} is not known {where}; known: {listed}.")
        known = known[step]


def _plant(wanted: Wanted, steps: list[str]) -> None:
    """Add a path; who asks for the whole of something gets the whole, whatever else is asked of it."""
    for step in steps[:-1]:
        below = wanted.setdefault(step, {})
        if below is None:
            return
        wanted = below
    wanted[steps[-1]] = None


def trimmed(value: Any, wanted: Wanted | None) -> Any:
    """`value` with what is wanted of it, and what is always kept."""
    if wanted is None:
        return value
    if isinstance(value, list):
        return [trimmed(each, wanted) for each in value]
    if isinstance(value, dict):
        return {
            name: trimmed(each, wanted.get(name))
            for name, each in value.items()
            if name in wanted or name in ALWAYS_KEPT
        }
    return value
