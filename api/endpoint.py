"""What every endpoint does the same way: check the body, check the version, answer with an ETag."""

import uuid
from collections.abc import Callable, Sequence
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.authentication import actor_of
from api.conflicts import tell
from api.etags import Shown, tag_of, version_in
from api.merge_patch import merge_patch, value_once_removed, writable
from api.pagination import IdCursorPagination
from api.parsers import MergePatchParser
from api.permissions import HasScope, IsOpen
from api.problems import Problem, problem_of
from coaching.errors import DiffersError, ForbearError, VersionRequiredError
from coaching.models import Actor, ServiceToken


class Endpoint(APIView):
    """A view is: parse, one call, serialise."""

    pagination_class = IdCursorPagination  # read by the API document as well as by `page`
    is_of_the_device = False  # its own sign-out and password, also where the practice has closed
    sent_as: serializers.Serializer[Any] | None = None

    @property
    def actor(self) -> Actor:
        return actor_of(self.request)

    def get_permissions(self) -> Sequence[Any]:
        """A role lets people in; a service token is let in by its scopes alone (`service_scopes.py`)."""
        if isinstance(getattr(self.request, "auth", None), ServiceToken):
            return [HasScope()]
        return [*super().get_permissions(), *([] if self.is_of_the_device else [IsOpen()])]

    def get_parsers(self) -> list[BaseParser]:
        """JSON, and for a PATCH the media type of RFC 7396 as well."""
        is_patch = getattr(getattr(self, "request", None), "method", None) == "PATCH"
        return [*super().get_parsers(), MergePatchParser()] if is_patch else list(super().get_parsers())

    def checked(self, serializer: type[serializers.Serializer[Any]], *, is_patch: bool = False) -> Any:
        """The body as validated by `serializer`; with `is_patch`, only what the merge patch names."""
        self.sent_as = serializer(partial=is_patch)
        if is_patch:
            return self._checked_patch(serializer)
        checker = serializer(data=self.request.data)
        checker.is_valid(raise_exception=True)
        return checker.validated_data

    def merged(self, serializer: type[serializers.Serializer[Any]], shown: Any) -> Any:
        """The whole record as the merge patch that was sent makes it, validated."""
        self.sent_as = serializer(partial=True)
        checker = serializer(data=merge_patch(writable(serializer(), shown), self.patch_sent()))
        checker.is_valid(raise_exception=True)
        return checker.validated_data

    def _checked_patch(self, serializer: type[serializers.Serializer[Any]]) -> Any:
        """A record is judged by what the patch touches. No member is an object, so none is merged into."""
        patch = self.patch_sent()
        checker = serializer(data=merge_patch({}, patch), partial=True)
        checker.is_valid(raise_exception=True)
        removed = [key for key, value in patch.items() if value is None and key in checker.fields]
        values, faults = dict(checker.validated_data), {}
        for key in removed:
            try:
                values[key] = value_once_removed(checker.fields[key])
            except serializers.ValidationError as error:
                faults[key] = error.detail
        if faults:
            raise serializers.ValidationError(faults)
        return values

    def shown(self, record: Any) -> Shown | None:
        """The record that stands in the way, as the caller may see it; None tells nothing of it."""
        return None

    def conflict(self, error: DiffersError, *, sent_as: Any = None, sent: Any = None) -> Problem:
        """The problem of a conflict. What it shows is a reading like any other, and on the trail."""
        problem = problem_of(error)
        try:
            shown = None if error.standing is None else self.shown(error.standing)
        except ForbearError:
            shown = None  # deleted or out of sight meanwhile
        if shown is not None:
            serializer = sent_as or self.sent_as
            tell(problem, shown, serializer, sent if sent_as else self._sent(serializer))
        return problem

    def _sent(self, serializer: Any) -> Any:
        return None if serializer is None else self.request.data

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
        """The one version named by If-Match; `*` and lists would let an edit be lost, and count as none."""
        tag = self.request.headers.get("If-Match", "").strip()
        if not tag or tag == "*" or "," in tag:
            raise VersionRequiredError("Name the one version you edit in If-Match.")
        return version_in(tag)

    def named_version(self) -> int | None:
        """As `expected_version`, where something new may be put without one."""
        return self.expected_version() if "If-Match" in self.request.headers else None

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


def with_etag(request: Request, body: Any, version: int, *, status: int = 200, shown: Any = None) -> Response:
    """`body` under the ETag of the record, or 304 when the caller has it as it is shown now.

    `shown` is what GET shows, where the answer to a write says more.
    """
    tag = tag_of(version, body if shown is None else shown)
    known = {part.strip().removeprefix("W/") for part in request.headers.get("If-None-Match", "").split(",")}
    if request.method == "GET" and tag in known:
        return Response(status=304, headers={"ETag": tag})
    return Response(body, status=status, headers={"ETag": tag})
