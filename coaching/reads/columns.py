"""Rows of a query as arrays, a column each: no object is made for a row, and no loop goes over them."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
from django.core.exceptions import EmptyResultSet
from django.db import connection
from django.db.backends.utils import CursorWrapper
from django.db.models import Case, IntegerField, QuerySet, Value, When
from numpy.typing import NDArray
from psycopg import ClientCursor, Cursor
from psycopg.adapt import Loader
from psycopg.pq import Format

from coaching.models.scoped import statement_of

Column = Any  # an array, or for texts a list
Ints = NDArray[np.int64]


class Small(int):
    """A kind of column: whole numbers from -32,768 to 32,767, which travel in a quarter of the bytes."""


# What the server calls it, the identifiers of arrays of it, and how an element is sent.
_SENT: dict[type, tuple[str, int, str]] = {
    int: ("int8", 1016, ">i8"),
    Small: ("int2", 1005, ">i2"),
    float: ("float8", 1022, ">f8"),
    bool: ("bool", 1000, "?"),
    date: ("date", 1182, ">i4"),
}
_KEPT: dict[type, Any] = {int: np.int64, Small: np.int64, float: np.float64, bool: np.bool_, date: np.int64}
_HEADER_BYTES, _HAS_NULLS = 20, 7
_FIRST_DAY_OF_POSTGRESQL = date(2000, 1, 1).toordinal()


class _AsSent(Loader):
    format = Format.BINARY

    def load(self, data: Any) -> bytes:
        return bytes(data)


def columns(rows: QuerySet[Any], **kinds: type) -> list[Column]:
    """The named columns of these rows, in whatever order the rows come, all columns in the same one.

    Kinds are int, Small, float, bool, date (given as ordinals) and str (a list of texts); no value may be
    null (ValueError). On PostgreSQL each column comes as one array, whatever the number of rows.
    """
    named: Any = rows.order_by().values_list(*kinds)
    each_kind = list(kinds.values())
    if connection.vendor == "postgresql":
        cells = _arrays(named, each_kind)
        return [_received(cell, kind) for cell, kind in zip(cells, each_kind, strict=True)]
    found = list(named)
    turned = zip(*found, strict=True) if found else [()] * len(each_kind)
    return [_made(cell, kind) for cell, kind in zip(turned, each_kind, strict=True)]


def _arrays(rows: QuerySet[Any], kinds: Sequence[type]) -> Sequence[Any]:
    try:
        inner, params = statement_of(rows)
    except EmptyResultSet:  # one that asks for one of no ids
        return [None] * len(kinds)
    names = [f"c{place}" for place in range(len(kinds))]
    arrays = ", ".join(
        f"array_agg({name}::{_SENT[kind][0] if kind in _SENT else 'text'})"
        for name, kind in zip(names, kinds, strict=True)
    )
    statement = f"SELECT {arrays} FROM ({inner}) AS t({', '.join(names)})"  # noqa: S608 - our own names
    connection.ensure_connection()
    with _receiving() as cursor:
        cursor.execute(ClientCursor(connection.connection).mogrify(statement, params))
        row: Sequence[Any] = cursor.fetchone()
        return row


def _receiving() -> CursorWrapper:
    """A cursor that leaves arrays as they are sent; Django's own asks for text."""
    received: Any = Cursor(connection.connection)
    received.format = Format.BINARY
    for _, oid, _ in _SENT.values():
        received.adapters.register_loader(oid, _AsSent)
    client: Any = connection
    prepared: CursorWrapper = client._prepare_cursor(received)
    return prepared


def _received(cell: Any, kind: type) -> Column:
    """From the wire: a header, and before each element its length."""
    if kind not in _SENT:
        return cell or []
    if cell is None:
        return np.zeros(0, _KEPT[kind])
    if cell[_HAS_NULLS]:
        raise ValueError("A column that is read as a whole has a null.")
    sent = np.dtype([("length", ">i4"), ("value", _SENT[kind][2])])
    values = np.frombuffer(cell, sent, offset=_HEADER_BYTES)["value"].astype(_KEPT[kind])
    return values + _FIRST_DAY_OF_POSTGRESQL if kind is date else values


def _made(cells: Sequence[Any], kind: type) -> Column:
    if None in cells:
        raise ValueError("A column that is read as a whole has a null.")
    if kind is date:
        return np.fromiter((day.toordinal() for day in cells), np.int64, len(cells))
    return np.array(cells, _KEPT[kind]) if kind in _KEPT else list(cells)


def code_of(field: str, words: Sequence[str]) -> Case:
    """An expression for the place of the field's word among `words`; null for any other."""
    places = (When(**{field: word}, then=Value(place)) for place, word in enumerate(words))
    return Case(*places, output_field=IntegerField())


def packed(first: Any, *others: tuple[Any, int]) -> Any:
    """One expression of several, which travels as one number: each other one is from 0 to below its size."""
    whole = first
    for part, size in others:
        whole = whole * size + part
    return whole


def unpacked(column: Ints, *sizes: int) -> list[Ints]:
    """What `packed` has put together, from the sizes of the others."""
    parts: list[Ints] = []
    for size in reversed(sizes):
        column, part = np.divmod(column, size)
        parts.append(part)
    return [column, *reversed(parts)]


def numbered(texts: Sequence[str]) -> tuple[Ints, list[str]]:
    """A number for each text, alike for alike ones, and the texts by number."""
    number = {text: place for place, text in enumerate(dict.fromkeys(texts))}
    return np.fromiter(map(number.__getitem__, texts), np.int64, len(texts)), list(number)


def places_of(ids: Column, place_of: Mapping[int, int]) -> Ints:
    """The place of each id. Raises KeyError for one that has none."""
    distinct, back = np.unique(ids, return_inverse=True)
    return np.array([place_of[each] for each in distinct.tolist()], dtype=np.int64)[back]
