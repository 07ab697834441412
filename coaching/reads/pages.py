"""A page of any list: rows beyond a place, in an order that has no ties."""

from dataclasses import dataclass
from datetime import date
from typing import Any, Generic, TypeVar

from django.db.models import Model, Q, QuerySet

M = TypeVar("M", bound=Model)


@dataclass(frozen=True, slots=True)
class Order:
    """By a column without nulls, then by the row's key, both in the same direction."""

    column: str
    is_descending: bool


@dataclass(frozen=True, slots=True)
class Place:
    """Just beyond a row: its value in the order's column as plain JSON, and its key."""

    value: Any
    key: int
    is_backwards: bool


@dataclass(frozen=True, slots=True)
class Page(Generic[M]):
    rows: list[M]
    previous: Place | None
    next: Place | None


def page_of(rows: QuerySet[M], *, order: Order, place: Place | None, size: int) -> Page[M]:
    """At most `size` rows from `place` on, or from the beginning.

    A place is a row's own value and key and no count of rows, so what is added or deleted meanwhile moves
    nobody else: no row comes twice, and none that was there is left out.
    """
    is_backwards = place is not None and place.is_backwards
    is_descending = order.is_descending != is_backwards
    sign = "-" if is_descending else ""
    found = rows if place is None else rows.filter(_beyond(order.column, place, is_descending=is_descending))
    taken = list(found.order_by(f"{sign}{order.column}", f"{sign}pk")[: size + 1])
    has_more, kept = len(taken) > size, taken[:size]
    if not is_backwards:
        return _page(kept, order, has_previous=place is not None, has_next=has_more)
    if not kept:  # all before the place are gone meanwhile, so that the list begins there
        return page_of(rows, order=order, place=None, size=size)
    return _page(kept[::-1], order, has_previous=has_more, has_next=True)


def _beyond(column: str, place: Place, *, is_descending: bool) -> Q:
    side = "lt" if is_descending else "gt"
    if column == "id":
        return Q(**{f"pk__{side}": place.key})
    # The first condition follows from the second, but it is the one that an index of the column can use.
    return Q(**{f"{column}__{side}e": place.value}) & (
        Q(**{f"{column}__{side}": place.value}) | Q(**{column: place.value, f"pk__{side}": place.key})
    )


def _page(rows: list[M], order: Order, *, has_previous: bool, has_next: bool) -> Page[M]:
    previous = _place(rows[0], order, is_backwards=True) if rows and has_previous else None
    return Page(rows, previous, _place(rows[-1], order, is_backwards=False) if rows and has_next else None)


def _place(row: M, order: Order, *, is_backwards: bool) -> Place:
    value = getattr(row, order.column)
    plain = value.isoformat() if isinstance(value, date) else value  # an instant is a date as well
    return Place(plain, row.pk, is_backwards=is_backwards)
