"""The API document of reads: what each may be asked, and what comes back, by machinery."""

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse

from api import trimming
from api.listing import ListQuery

FIELDS = OpenApiParameter(trimming.PARAMETER, str, description=trimming.DESCRIPTION)
IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    str,
    OpenApiParameter.HEADER,
    description="Entity tags of answers that you hold, or `*`; compared weakly (RFC 9110, 13.1.2).",
)
ETAG = OpenApiParameter(
    "ETag",
    str,
    OpenApiParameter.HEADER,
    response=[200, 304],
    description="The version of a record, or a weak tag of the whole answer.",
)
LINK = OpenApiParameter(
    "Link",
    str,
    OpenApiParameter.HEADER,
    response=[200],
    description="RFC 8288: the pages `first`, `prev` and `next`, as far as there are any.",
)
NOT_MODIFIED = OpenApiResponse(description="You hold the current answer; it has no body.")


class ReadingAutoSchema(AutoSchema):
    def get_override_parameters(self) -> Any:
        declared = super().get_override_parameters()
        return [*declared, *self._read_parameters()] if self._is_read() else declared

    def _is_read(self) -> bool:
        return self.method == "GET" and hasattr(self.view, "query")

    def _is_conditional(self) -> bool:
        view: Any = type(self.view)
        return self._is_read() and not view.is_made_anew

    def _is_paged(self) -> bool:
        view: Any = type(self.view)
        return self._is_read() and issubclass(view.query, ListQuery)

    def _read_parameters(self) -> list[Any]:
        view: Any = type(self.view)
        fields = [] if trimming.names_of(view) is None else [FIELDS]
        link = [LINK] if self._is_paged() else []
        query = [view.query] if view.query().fields else []
        tags = [IF_NONE_MATCH, ETAG] if self._is_conditional() else []
        return [*query, *fields, *tags, *link]

    def _get_response_bodies(self, direction: Any = "response") -> Any:
        answers: Any = super()._get_response_bodies(direction)
        if self._is_conditional():
            answers["304"] = self._get_response_for_code(  # type: ignore[no-untyped-call]
                NOT_MODIFIED, "304", None, direction
            )
        return answers
