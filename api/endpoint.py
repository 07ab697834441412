"""What every endpoint does the same way: check the body, check the version, answer with an ETag."""

import uuid
from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.authentication import actor_of
from api.pagination import IdCursorPagination
from api.problems import Problem
from coaching.errors import VersionRequiredError
from coaching.models import Actor


class Endpoint(APIView):
    """A view is: parse, one call, serialise."""

    pagination_class = IdCursorPagination  # read by the API document as well as by `page`

    @property
    def actor(self) -> Actor:
        return actor_of(self.request)

    def checked(self, serializer: type[serializers.Serializer[Any]], *, is_patch: bool = False) -> Any:
        """The body as validated by `serializer`; with `is_patch`, absent keys stay absent."""
        body = self.patch_sent() if is_patch else self.request.data
        checker = serializer(data=body, partial=is_patch)
        checker.is_valid(raise_exception=True)
        return checker.validated_data

    def patch_sent(self) -> Any:
        """The merge patch of the request; no body at all is a cut-off request and not the patch {}."""
        if self.request.stream is None:
            raise Problem("empty_body", 400, "A patch has a body.")
        return self.request.data

    def checked_query(self, serializer: type[serializers.Serializer[Any]]) -> Any:
        """The query string as validated by `serializer`; a repeated or unknown parameter is a fault (400)."""
        repeated = [key for key, values in self.request.query_params.lists() if len(values) > 1]
        if repeated:
            raise Problem("repeated_parameter", 400, f"{repeated[0]} is given twice.")
        checker = serializer(data=self.request.query_params.dict())
        if not checker.is_valid():
            field, details = next(iter(checker.errors.items()))
            raise Problem("bad_parameter", 400, f"{field}: {details[0]}")
        return checker.validated_data

    def expected_version(self) -> int:
        """The version named by If-Match; weak tags count, since a proxy may weaken them."""
        tag = self.request.headers.get("If-Match", "").strip()
        if not tag:
            raise VersionRequiredError("Name the version you edit in If-Match.")
        tag = tag.removeprefix("W/").strip('"')
        return int(tag) if tag.isascii() and tag.isdigit() and len(tag) < 10 else -1

    def client_made(self, uid: uuid.UUID) -> uuid.UUID:
        """An id from the address under which something new may be stored; nil and max are no ids."""
        if uid.int in (0, 2**128 - 1):
            raise Problem("bad_id", 400, "Make an id of your own: nil and max are none.")
        return uid

    def page(self, rows: QuerySet[Any], serialise: Callable[[Any], Any]) -> Response:
        """One cursor page of `rows`, each through `serialise`."""
        paginator = self.pagination_class()
        found = paginator.paginate_queryset(rows, self.request, view=self)
        return paginator.get_paginated_response([serialise(row) for row in found or []])


def with_etag(request: Request, body: Any, version: int, *, status: int = 200) -> Response:
    """`body` under the ETag of its version, or 304 when the caller has that version already."""
    tag = f'"{version}"'
    known = {part.strip().removeprefix("W/") for part in request.headers.get("If-None-Match", "").split(",")}
    if request.method == "GET" and tag in known:
        return Response(status=304, headers={"ETag": tag})
    return Response(body, status=status, headers={"ETag": tag})
