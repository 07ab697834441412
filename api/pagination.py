"""Cursor pages with RFC 8288 links; a made-up cursor is the caller's fault, not ours."""

from typing import Any

from rest_framework.exceptions import NotFound
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response

from api.problems import Problem


class IdCursorPagination(CursorPagination):
    """Newest first, by the row's own key."""

    ordering = "-id"
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200

    def get_page_size(self, request: Request) -> int | None:
        asked = request.query_params.get("page_size")
        if asked is not None and not (
            asked.isascii() and asked.isdigit() and 1 <= int(asked[:9]) <= self.max_page_size
        ):
            raise Problem("bad_page_size", 400, f"page_size goes from 1 to {self.max_page_size}.")
        return super().get_page_size(request)

    def decode_cursor(self, request: Request) -> Cursor | None:
        try:
            cursor = super().decode_cursor(request)
        except NotFound:
            raise Problem("bad_cursor", 400, "This cursor is not one of ours.") from None
        position = None if cursor is None or cursor.position is None else str(cursor.position)
        if position is not None and not (position.isascii() and position.isdigit() and len(position) < 19):
            raise Problem("bad_cursor", 400, "This cursor is not one of ours.")
        return cursor

    def get_paginated_response(self, data: Any) -> Response:
        links = {"next": self.get_next_link(), "prev": self.get_previous_link()}
        response = Response({"items": data, "next": links["next"]})
        header = ", ".join(f'<{url}>; rel="{rel}"' for rel, url in links.items() if url)
        if header:
            response["Link"] = header
        return response

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {
            "type": "object",
            "required": ["items", "next"],
            "properties": {
                "items": schema,
                "next": {"type": ["string", "null"], "format": "uri"},
            },
        }
