"""What every endpoint does the same way: check what is asked and sent, and answer with an ETag."""

import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from typing import Any, ClassVar, cast

import structlog
from django.db import DatabaseError
from django.http import StreamingHttpResponse
from django.http.response import HttpResponseBase
from rest_framework import serializers
from rest_framework.exceptions import APIException
from rest_framework.parsers import BaseParser
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api import conditional, trimming
from api.authentication import actor_of
from api.conflicts import tell
from api.etags import Shown, tag_of, version_in
from api.fields import StrictSerializer
from api.listing import ListPages, ListQuery, NoQuery, link_header, links_of, list_asked
from api.merge_patch import merge_patch, value_once_removed, writable
from api.parsers import MergePatchParser
from api.permissions import HasScope, IsOpen
from api.problems import CONTENT_TYPE, Problem, problem_body, problem_of
from coaching.errors import DiffersError, ForbearError, TrailError, VersionRequiredError
from coaching.models import Actor, DeviceToken, ServiceToken
from coaching.models.base import ListQuerySet
from coaching.models.database_faults import is_connection_lost, is_rolled_back
from coaching.models.row_security import asked_together
from coaching.models.scope import current_scope, outside_of_practices, pieces_within, within_practice
from coaching.reads.pages import Page, page_of


class _TryAgainError(Exception):
    """The first attempt left nothing behind, or nothing that a second one would double."""


class Endpoint(APIView):
    """A view is: parse, one call, serialise."""

    query: ClassVar[type[StrictSerializer]] = NoQuery  # all that a GET may be asked; a `ListQuery` for lists
    pagination_class = ListPages  # read by the API document
    is_made_anew: ClassVar[bool] = False  # a read that begins its own transaction, and has no tag
    is_of_the_device: ClassVar[bool] = False  # its own sign-out and password, also in a closed practice
    is_repeatable: ClassVar[bool] = False  # a POST that may come twice, as a PUT may
    sent_as: serializers.Serializer[Any] | None = None
    is_second_try: bool = False

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer, and once more where the database took the first attempt back or the connection was lost."""
        try:
            return self._answer(request, *args, **kwargs)
        except _TryAgainError:
            self.is_second_try = True
            return self._answer(request, *args, **kwargs)

    def _answer(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """From here to the end of the answer the request is within the practice that its token names."""
        try:
            with outside_of_practices(), ExitStack() as self._practice:
                if not self.is_made_anew and request.method in SAFE_METHODS:
                    self._practice.enter_context(asked_together())
                return super().dispatch(request, *args, **kwargs)
        except DatabaseError as error:  # of the commit: what a view raises is answered before
            answer: HttpResponseBase = self.finalize_response(self.request, self.handle_exception(error))
            return answer

    def handle_exception(self, exc: Exception) -> Response:
        if not self.is_second_try and self._may_be_done_again(exc):
            structlog.get_logger("api").warning("tried_again", error=type(exc).__name__)
            raise _TryAgainError from exc
        return super().handle_exception(exc)

    def _may_be_done_again(self, exc: Exception) -> bool:
        if is_rolled_back(exc):
            return True
        # A commit may have been lost with the connection: only what may come twice is done again.
        is_safe_twice = self.is_repeatable or self.request.method in (*SAFE_METHODS, "PUT")
        return is_safe_twice and is_connection_lost(exc)

    def perform_authentication(self, request: Request) -> None:
        refusal: APIException | None = None
        with asked_together():
            try:
                super().perform_authentication(request)
            except APIException as refused:  # raised after the commit: a dead token stays cleared away
                refusal = refused
        if refusal is not None:
            raise refusal
        if isinstance(request.auth, DeviceToken | ServiceToken):
            self._practice.enter_context(within_practice(request.auth.practice_id))

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

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Check what a read asks for before anything is read, or noted as read."""
        super().initial(request, *args, **kwargs)
        if request.method not in SAFE_METHODS:
            _ = request.body  # kept, so that a second try can read it again
        if request.method in conditional.READS:
            self.asked = self.checked_query(type(self).query)
            self.wanted = self._wanted_fields()
            if issubclass(query := type(self).query, ListQuery):
                self.list_asked = list_asked(request, self.actor, query, self.asked)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Trim the answer to a read, tag it, and leave its body out for whoever holds it."""
        if isinstance(response, StreamingHttpResponse):  # made piece by piece, after the request has ended
            pieces = cast("Iterator[bytes]", response.streaming_content)
            response.streaming_content = pieces_within(current_scope(), pieces)
        is_read = request.method in conditional.READS and isinstance(response, Response)
        if not is_read or response.status_code != 200:
            return super().finalize_response(request, response, *args, **kwargs)
        response.data = self._trimmed(response.data)
        answer = super().finalize_response(request, response, *args, **kwargs)
        if "ETag" not in answer:
            answer["ETag"] = conditional.tag_of_body(answer.render().content)
        instead = self._instead_of(answer["ETag"])
        return answer if instead is None else super().finalize_response(request, instead, *args, **kwargs)

    def _instead_of(self, tag: str) -> Response | None:
        """What is answered in place of the representation, in the order of RFC 9110, 13.2.2."""
        if not conditional.is_as_expected(self.request, tag):
            body = problem_body("stale_version", 412, "It is not what If-Match names.")
            body["instance"] = self.request.path
            return Response(body, 412, headers={"ETag": tag}, content_type=CONTENT_TYPE)
        if conditional.is_known(self.request, tag):
            return Response(status=304, headers={"ETag": tag})
        return None

    def _wanted_fields(self) -> trimming.Wanted | None:
        sent, names = self.request.query_params.get(trimming.PARAMETER), trimming.names_of(type(self))
        return None if sent is None or names is None else trimming.wanted_of(sent, names)

    def _trimmed(self, body: Any) -> Any:
        if self.wanted is not None and trimming.is_listing(type(self)):
            return body | {"items": trimming.trimmed(body["items"], self.wanted)}
        return trimming.trimmed(body, self.wanted)

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
        except TrailError as unwritten:
            return problem_of(unwritten)
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
        sent = self.request.query_params.dict()
        if self.request.method in conditional.READS and trimming.names_of(type(self)) is not None:
            sent.pop(trimming.PARAMETER, None)
        checker = serializer(data=sent)
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

    def page(self, rows: ListQuerySet[Any], serialise: Callable[[Any], Any]) -> Response:
        """One page of `rows` as asked for by the view's `query`, each row through `serialise`."""
        found = self.page_rows(rows)
        return self.page_of(found, [serialise(row) for row in found.rows])

    def page_rows(self, rows: ListQuerySet[Any]) -> Page[Any]:
        """The rows of the page alone, for lists whose items are made together."""
        asked = self.list_asked
        return page_of(rows.narrowed(asked.narrowing), order=asked.order, place=asked.place, size=asked.size)

    def page_of(self, found: Page[Any], items: list[Any]) -> Response:
        links = links_of(self.request, found, self.list_asked.signer)
        body = {"items": items, "next": links.get("next")}
        return Response(body, headers={"Link": link_header(links)})


def with_etag(body: Any, version: int, *, status: int = 200, shown: Any = None) -> Response:
    """`body` under the ETag of the record; what If-None-Match makes of it is the endpoint's matter.

    `shown` is what GET shows, where the answer to a write says more.
    """
    return Response(body, status=status, headers={"ETag": tag_of(version, body if shown is None else shown)})
