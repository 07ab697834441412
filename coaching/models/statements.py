"""Statements that every post asks: no query is put together for them, and PostgreSQL plans each only once.

What they say about a practice stands in their own text; they are asked within one like everything else.
"""

import json
import sqlite3
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache, lru_cache
from typing import Any

import psycopg
from django.db import connection
from django.db.models import JSONField, Model

from coaching.models.scope import NOWHERE, UnscopedQueryError, current_scope
from coaching.models.scoped import check_practice_of

Params = Sequence[Any]


def asked(sql: str, params: Params) -> list[tuple[Any, ...]]:
    """The rows of a SELECT. `= ANY(%s)` takes a list; a truth value of SQLite is 0 or 1, a day is text."""
    with _cursor() as cursor:
        _execute(cursor, sql, params)
        return list(cursor.fetchall())


def done(sql: str, params: Params) -> int:
    """How many rows a statement changed."""
    with _cursor() as cursor:
        _execute(cursor, sql, params)
        return int(cursor.rowcount)


def insert_rows(rows: Sequence[Model], *, with_ids: bool = False, but_those_there: bool = False) -> None:
    """Insert unsaved rows of one model by one statement; `with_ids` gives them the ids that they got.

    As `bulk_create`, by whose rules they are of the practice in whose scope this is. `but_those_there` leaves
    out what a unique constraint forbids.
    """
    if not rows:
        return
    check_practice_of(rows)
    if connection.vendor == "postgresql":
        _insert_arrays(rows, _tail(with_ids, but_those_there), with_ids=with_ids)
    else:
        _insert_values(rows, _tail(with_ids, but_those_there), with_ids=with_ids)
    for row in rows:
        row._state.adding, row._state.db = False, connection.alias


def day_of(value: Any) -> date:
    """A day as it comes out of `asked`."""
    return value if isinstance(value, date) else date.fromisoformat(value)


def uid_of(value: Any) -> uuid.UUID:
    """An id as it comes out of `asked`."""
    return value if isinstance(value, uuid.UUID) else uuid.UUID(value)


class _PreparedCursor(psycopg.Cursor[Any]):
    """Values are sent beside the text, which the server therefore reads and plans once per connection."""

    def execute(self, query: Any, params: Any = None, **how: Any) -> Any:
        try:
            return super().execute(query, params, **(how | {"prepare": True}))
        finally:
            if self._query is None:  # planned before; whoever counts statements looks for their text here
                told: Any = _Text(str(query).encode())
                self._query = told


@dataclass(frozen=True, slots=True)
class _Text:
    query: bytes


def _cursor() -> Any:
    if current_scope() == NOWHERE:
        raise UnscopedQueryError("A statement was asked for outside of any practice.")
    if connection.vendor != "postgresql":
        return connection.cursor()
    connection.ensure_connection()
    client: Any = connection
    return client._prepare_cursor(_PreparedCursor(client.connection))


def _execute(cursor: Any, sql: str, params: Params) -> None:
    if connection.vendor == "postgresql":
        cursor.execute(sql, params)
    else:
        cursor.execute(_with_json_lists(sql), [_plain(value) for value in params])


@lru_cache(maxsize=200)
def _with_json_lists(sql: str) -> str:
    return sql.replace("= ANY(%s)", "IN (SELECT value FROM json_each(%s))")


def _plain(value: Any) -> Any:
    """As Django writes such a value on SQLite."""
    if isinstance(value, uuid.UUID):
        return value.hex
    if isinstance(value, datetime):
        return connection.ops.adapt_datetimefield_value(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list):
        return json.dumps([_plain(each) for each in value])
    return value


@cache
def _table_of(model: type[Model]) -> tuple[str, list[str], list[Any]]:
    fields = [field for field in model._meta.concrete_fields if not field.primary_key]
    return f'"{model._meta.db_table}"', [f'"{field.column}"' for field in fields], fields


def _values(rows: Iterable[Model]) -> list[list[Any]]:
    return [
        [field.get_db_prep_save(getattr(row, field.attname), connection) for field in _table_of(type(row))[2]]
        for row in rows
    ]


def _tail(with_ids: bool, but_those_there: bool) -> str:
    return " ON CONFLICT DO NOTHING" * but_those_there + " RETURNING id" * with_ids


def _insert_values(rows: Sequence[Model], tail: str, *, with_ids: bool) -> None:
    """As many rows a statement as SQLite takes values."""
    table, names, _ = _table_of(type(rows[0]))
    row_slots = "(" + ", ".join(["%s"] * len(names)) + ")"
    head = f"INSERT INTO {table} ({', '.join(names)}) VALUES "  # noqa: S608 - our own names
    with connection.cursor() as cursor:
        at_once = connection.connection.getlimit(sqlite3.SQLITE_LIMIT_VARIABLE_NUMBER) // len(names)
        for start in range(0, len(rows), at_once):
            some = rows[start : start + at_once]
            values = [value for values in _values(some) for value in values]
            cursor.execute(head + ", ".join([row_slots] * len(some)) + tail, values)
            if with_ids:
                _give_ids(some, cursor)


def _give_ids(rows: Sequence[Model], cursor: Any) -> None:
    for row, (row_id,) in zip(rows, cursor.fetchall(), strict=True):
        row.pk = row_id


def _insert_arrays(rows: Sequence[Model], tail: str, *, with_ids: bool) -> None:
    sql, columns = _arrays_sql(type(rows[0]))
    values = [column(rows) for column in columns]
    with _cursor() as cursor:
        cursor.execute(sql + tail, values)
        if with_ids:
            _give_ids(rows, cursor)


@cache
def _arrays_sql(model: type[Model]) -> tuple[str, list[Any]]:
    table, names, fields = _table_of(model)
    arrays = ", ".join(f"%b::{_array_type(field)}[]" for field in fields)  # in text each would be quoted
    sql = f"INSERT INTO {table} ({', '.join(names)}) SELECT * FROM unnest({arrays})"  # noqa: S608 - our own names
    return sql, [_column(field) for field in fields]


def _array_type(field: Any) -> str:
    """Text for what has a length: a cast to varchar(8) would cut off what is too long, and say nothing."""
    kind = str(field.rel_db_type(connection) if field.is_relation else field.db_type(connection))
    return "text" if kind.startswith("varchar") else kind


def _column(field: Any) -> Any:
    name = field.attname
    if isinstance(field, JSONField):
        return lambda rows: [json.dumps(getattr(row, name)) for row in rows]
    if field.get_internal_type() in ("CharField", "SlugField"):
        return lambda rows: [_text(getattr(row, name)) for row in rows]
    return lambda rows: [getattr(row, name) for row in rows]


def _text(value: Any) -> str | None:
    """Plain text also for the words of a choice, which are of a class of their own."""
    return value if value is None or type(value) is str else str(value)
