"""A body that was good, with one wound: what broken apps and curious people send."""

import copy
import random
from typing import Any

VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 0.1, 10**12, -(2**63), 10**30, 1e300, "", " ", "x" * 5000, "a\x00b", "\ud800",
    "\u202eabc", "=1+1", "1e3", "2026-02-30", "0001-01-01", "9999-12-31T23:59:59+14:00",
    "00000000-0000-0000-0000-000000000000", "not-an-id", [], {}, [None], [[]], {"a": 1}, ["x"] * 300,
)  # fmt: skip


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to every value below the top."""
    inner: list[tuple[Any, Any]] = []
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, list):
        inner = list(enumerate(value))
    found = [(*path, key) for key, _ in inner]
    return found + [place for key, each in inner for place in places(each, (*path, key))]


def wounded(body: Any, chance: random.Random) -> Any:
    """A copy of a JSON object or of a file's text with one thing wrong."""
    if isinstance(body, str):
        at = chance.randrange(len(body) + 1)
        filling = chance.choice(['"', ",", "\n", "\x00", ";", "\ufeff", "9" * 40, "\u202e", "é"])
        return body[:at] + filling + body[at + chance.choice([0, 1, 9]) :]
    hurt = copy.deepcopy(body)
    found = places(hurt)
    if not found or chance.random() < 0.15:
        hurt[chance.choice(["nothing_known", "id", "client", "version"])] = chance.choice(VALUES)
        return hurt
    *way, last = chance.choice(found)
    holder = hurt
    for key in way:
        holder = holder[key]
    kind = chance.random()
    if kind < 0.2:
        del holder[last]
    elif kind < 0.3 and isinstance(holder, list):
        holder.append(copy.deepcopy(holder[last]))
    else:
        holder[last] = chance.choice(VALUES)
    return hurt
