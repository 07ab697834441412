"""Lists over HTTP: what each may be asked, its pages, and their RFC 8288 links."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from django.core.signing import BadSignature, Signer
from rest_framework import serializers
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.utils.urls import remove_query_param, replace_query_param

from api.fields import CodeField, DayField, StrictSerializer, TextField
from api.problems import Problem
from coaching.models import Actor, Joint, SiteSide
from coaching.reads.pages import Order, Page, Place

USUAL_PAGE = 50
LARGEST_PAGE = 200
MOST_CURSOR_CHARACTERS = 2500
STORED = "stored"


class DigitsField(serializers.IntegerField):
    """A whole number as a query string has it: in digits."""

    def to_internal_value(self, data: Any) -> int:
        low, high = int(self.min_value or 0), int(self.max_value or 0)
        is_digits = isinstance(data, str) and data.isascii() and data.isdigit()
        if not is_digits or len(data) > len(str(high)) or not low <= int(data) <= high:
            raise serializers.ValidationError(f"It goes from {low} to {high}.", code="out_of_range")
        return int(data)


# Comments and not docstrings: the API document would repeat them on every list.
# Where nothing but the address is asked.
class NoQuery(StrictSerializer):
    pass


# What every paged list may be asked; `orders` are the names of its items by which it may be ordered too.
# Its other words narrow the rows by `ListQuerySet.narrowed`, but for those of which the read takes care.
class ListQuery(StrictSerializer):
    orders: ClassVar[tuple[str, ...]] = ()
    narrowed_by_read: ClassVar[frozenset[str]] = frozenset()

    def get_fields(self) -> dict[str, Any]:
        words = [STORED, *self.orders]
        ordering = CodeField(
            choices=[word for each in words for word in (each, f"-{each}")],
            default=f"-{STORED}",
            help_text=f"With - in front the highest first. {STORED}: in the order in which they were stored.",
        )
        paging = {
            "ordering": ordering,
            "cursor": TextField(
                max_length=MOST_CURSOR_CHARACTERS,
                required=False,
                help_text="Where a page begins, out of the links of another page of the same list.",
            ),
            "page_size": DigitsField(min_value=1, max_value=LARGEST_PAGE, default=USUAL_PAGE),
        }
        return {**super().get_fields(), **paging}


PAGING_WORDS = frozenset({"ordering", "cursor", "page_size"})


# A list of what has a date: from the first to the last day asked for, both included.
class DatedListQuery(ListQuery):
    def get_fields(self) -> dict[str, Any]:
        """`from` is a word of Python's own, so it cannot be declared like the rest."""
        return {"from": self.bound(), "until": self.bound(), **super().get_fields()}

    def bound(self) -> serializers.Field[Any, Any, Any, Any]:
        return DayField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "from" in attrs and "until" in attrs and attrs["until"] < attrs["from"]:
            raise serializers.ValidationError({"until": "It lies before from."}, code="window")
        return attrs


# The same of what is at a site.
class SiteListQuery(DatedListQuery):
    joint = CodeField(choices=Joint.values, required=False)
    side = CodeField(choices=SiteSide.values, required=False)


# Read by the API document only; the pages themselves are made below.
class ListPages(BasePagination):
    def get_schema_operation_parameters(self, view: Any) -> list[Any]:
        return []  # each list's query declares its own

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {
            "type": "object",
            "required": ["items", "next"],
            "properties": {
                "items": schema,
                "next": {"type": ["string", "null"], "format": "uri"},
            },
        }


@dataclass(frozen=True, slots=True)
class ListAsked:
    """A list as asked for: narrowed, in an order, from a place on."""

    narrowing: Mapping[str, Any]
    order: Order
    size: int
    place: Place | None
    signer: Signer


def list_asked(request: Request, actor: Actor, query: type[ListQuery], asked: Mapping[str, Any]) -> ListAsked:
    """What a checked `ListQuery` asks for. Raises Problem (400) for a cursor that is not of this list."""
    word = asked["ordering"].removeprefix("-")
    signer = _signer(request, actor, asked["ordering"])
    others = PAGING_WORDS | query.narrowed_by_read
    return ListAsked(
        narrowing={name: value for name, value in asked.items() if name not in others},
        order=Order("id" if word == STORED else word, is_descending=asked["ordering"].startswith("-")),
        size=asked["page_size"],
        place=_place(signer, asked.get("cursor")),
        signer=signer,
    )


def _signer(request: Request, actor: Actor, ordering: str) -> Signer:
    """A cursor is good for who asked and for what was asked: in any other list it would leave rows out."""
    kept = sorted(
        (name, value)
        for name, value in request.query_params.items()
        if name not in PAGING_WORDS and name != "fields"
    )
    return Signer(salt=f"cursor:{actor.own_name}:{request.path}:{ordering}:{kept}", sep=".")


def _place(signer: Signer, cursor: str | None) -> Place | None:
    if cursor is None:
        return None
    try:
        value, key, is_backwards = signer.unsign_object(cursor)
    except (BadSignature, ValueError):
        raise Problem("bad_cursor", 400, "cursor: It is not one of yours for this list.") from None
    return Place(value, key, is_backwards=is_backwards)


def links_of(request: Request, page: Page[Any], signer: Signer) -> dict[str, str]:
    """The addresses of the pages around this one, by their relation."""
    here = request.build_absolute_uri()
    links = {"first": remove_query_param(here, "cursor")}
    for relation, place in (("prev", page.previous), ("next", page.next)):
        if place is not None:
            cursor = signer.sign_object([place.value, place.key, place.is_backwards])
            links[relation] = replace_query_param(here, "cursor", cursor)
    return links


def link_header(links: Mapping[str, str]) -> str:
    """RFC 8288, section 3."""
    return ", ".join(f'<{address}>; rel="{relation}"' for relation, address in links.items())
