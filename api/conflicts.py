"""What a conflict tells: the version that stands, and where it differs from what was sent."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import islice
from typing import Any

from rest_framework import serializers

from api.etags import Shown, tag_of
from api.merge_patch import writable
from api.problems import Problem, pointer

MOST_DIFFERENCES = 100
NEW_MEMBER = "-"  # RFC 6901, section 4: the member after the last one, which is not there
Path = tuple[str | int, ...]
Difference = tuple[Path, Any, Any]


def tell(problem: Problem, shown: Shown, serializer: Any = None, sent: Any = None) -> None:
    """Give a problem its extension members and the ETag of the record that stands."""
    problem.members = members_of(shown, serializer, sent)
    if shown.version is not None:
        problem.etag = tag_of(shown.version, shown.body)


def members_of(shown: Shown, serializer: Any = None, sent: Any = None) -> dict[str, Any]:
    """Without a body that was sent there is nothing to compare."""
    members: dict[str, Any] = {}
    if shown.version is not None:
        members = {"current_version": shown.version, "etag": tag_of(shown.version, shown.body)}
    told: list[dict[str, Any]] = []
    if serializer is not None and isinstance(sent, dict):
        found = differences(serializer, sent, shown.body)
        told = [
            {"pointer": pointer(path), "yours": _plain(yours), "stored": _plain(stored)}
            for path, yours, stored in islice(found, MOST_DIFFERENCES)
        ]
        members["more_differences"] = sum(1 for _ in found)
    return members | {"differences": told}


def differences(serializer: Any, sent: dict[str, Any], shown: Any) -> Iterator[Difference]:
    """Where the two mean something else: 5 and 5.0, two offsets of one instant, a default left out do not."""
    stored = writable(serializer, shown)
    return _walk(serializer, (), (sent, stored), (_meant(serializer, sent), _meant(serializer, stored)))


def _meant(serializer: Any, body: Any) -> Any:
    if serializer.partial:
        return _meant_by_member(type(serializer)(), body)
    checker = type(serializer)(data=body)
    return checker.validated_data if checker.is_valid() else body


def _meant_by_member(whole: Any, body: Any) -> Any:
    """A patch names some members, each of them whole: what is left out within one has its default."""
    try:
        return {key: whole.fields[key].run_validation(value) for key, value in body.items()}
    except (KeyError, AttributeError, serializers.ValidationError):
        return body


def _walk(field: Any, path: Path, raw: tuple[Any, Any], meant: tuple[Any, Any]) -> Iterator[Difference]:
    mine, theirs = meant
    if mine == theirs:
        return
    if isinstance(mine, dict) and isinstance(theirs, dict):
        yield from _walk_members(field, path, raw, meant)
    elif isinstance(mine, list) and isinstance(theirs, list) and _are_objects(mine + theirs):
        walk = _walk_by_id if all("id" in row for row in mine + theirs) else _walk_by_position
        yield from walk(getattr(field, "child", None), path, raw, meant)
    else:
        yield path, *raw


def _walk_members(
    field: Any, path: Path, raw: tuple[Any, Any], meant: tuple[Any, Any]
) -> Iterator[Difference]:
    """Of a record, what was left out and has no default stays as it is; of a map, it is not there."""
    mine, theirs = meant
    fields = field.fields if isinstance(field, serializers.Serializer) else None
    keys = [key for key in mine if fields is None or key in theirs]
    if fields is None:
        keys += [key for key in theirs if key not in mine]
    for key in keys:
        below = None if fields is None else fields.get(key)
        yield from _walk(below, (*path, key), _both(raw, key), _both(meant, key))


def _walk_by_id(field: Any, path: Path, raw: tuple[Any, Any], meant: tuple[Any, Any]) -> Iterator[Difference]:
    mine, theirs = meant
    place = {row["id"]: index for index, row in enumerate(theirs)}
    ids = [row["id"] for row in mine]
    for index, uid in enumerate(ids):
        if uid not in place:
            yield (*path, index), raw[0][index], None
            continue
        there = place[uid]
        yield from _walk(field, (*path, index), (raw[0][index], raw[1][there]), (mine[index], theirs[there]))
    for row in theirs:
        if row["id"] not in ids:
            yield (*path, NEW_MEMBER), None, raw[1][place[row["id"]]]
    shared = [uid for uid in ids if uid in place]
    if shared != sorted(shared, key=lambda uid: place[uid]):
        yield path, [str(uid) for uid in ids], [str(uid) for uid in place]


def _walk_by_position(
    field: Any, path: Path, raw: tuple[Any, Any], meant: tuple[Any, Any]
) -> Iterator[Difference]:
    mine, theirs = meant
    for index in range(min(len(mine), len(theirs))):
        yield from _walk(field, (*path, index), _both(raw, index), _both(meant, index))
    for index in range(len(theirs), len(mine)):
        yield (*path, index), raw[0][index], None
    for index in range(len(mine), len(theirs)):
        yield (*path, NEW_MEMBER), None, raw[1][index]


def _both(pair: tuple[Any, Any], key: Any) -> tuple[Any, Any]:
    mine, theirs = pair
    if isinstance(key, int):
        return mine[key], theirs[key]
    return mine.get(key), theirs.get(key)


def _are_objects(rows: list[Any]) -> bool:
    return all(isinstance(row, dict) for row in rows)


def _plain(value: Any) -> Any:
    """Numbers as numbers: the parser keeps what was sent as exact decimals."""
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, dict):
        return {key: _plain(below) for key, below in value.items()}
    if isinstance(value, list):
        return [_plain(below) for below in value]
    return value
