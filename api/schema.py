"""The OpenAPI document: every operation names the problems it may answer with."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.plumbing import is_basic_serializer
from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers

from api.answers import (
    HEADERS,
    SIGNED_IN,
    WITH_BODY,
    WITH_CSV,
    WITH_QUERY,
    by_status,
    example_of,
    raised_by,
    rests_without_consent,
    version_need,
)
from api.document import tag_of
from api.problems import CONTENT_TYPE
from api.reading_schema import FIELDS, ReadingAutoSchema
from api.service_scopes import scope_of
from coaching.models import InjuryStatus, Joint, RestrictionKind, ServiceScope, SetSide, SiteSide

JOINTS = Joint.values
SITE_SIDES = SiteSide.values
SET_SIDES = SetSide.values
INJURY_STATUSES = InjuryStatus.values
RESTRICTION_KINDS = RestrictionKind.values


class BearerSchemes(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Tells the document how tokens are sent, and which scope an operation asks of a service token."""

    target_class = "api.authentication.DeviceTokenAuthentication"
    name = ["deviceToken", "serviceToken"]

    def get_security_requirement(self, auto_schema: Any) -> list[dict[str, list[str]]]:
        scope = scope_of(auto_schema.method, auto_schema.path_regex)
        device: dict[str, list[str]] = {"deviceToken": []}
        return [device, {"serviceToken": [scope.value]}] if scope else [device]

    def get_security_definition(self, auto_schema: Any) -> list[dict[str, str]]:
        scopes = "; ".join(f"`{scope.value}`: {scope.label}" for scope in ServiceScope)
        return [
            {"type": "http", "scheme": "bearer", "description": "One token per device, from sign-in."},
            {"type": "http", "scheme": "bearer", "description": f"For programs, with scopes. {scopes}."},
        ]


class FaultSerializer(serializers.Serializer[Any]):
    pointer = serializers.CharField(help_text="RFC 6901 pointer to the faulty field.")
    code = serializers.CharField()
    detail = serializers.CharField()


class DifferenceSerializer(serializers.Serializer[Any]):
    pointer = serializers.CharField(
        help_text="RFC 6901 pointer into the body as it was sent; `-` at its end: only the stored one has it."
    )
    # Any value, null as well, which allow_null would say twice and so forbid.
    yours = serializers.JSONField()
    stored = serializers.JSONField()


class ProblemSerializer(serializers.Serializer[Any]):
    """RFC 9457 problem details."""

    type = serializers.CharField(help_text="Stable for each kind of problem.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    instance = serializers.CharField(required=False)
    errors = FaultSerializer(many=True, required=False)  # type: ignore[assignment]  # RFC 9457 extension member
    current_version = serializers.IntegerField(required=False, help_text="With 409 and 412: what stands.")
    etag = serializers.CharField(required=False, help_text="Its ETag, as in the header.")
    differences = DifferenceSerializer(many=True, required=False)
    more_differences = serializers.IntegerField(required=False, help_text="How many more there are.")


class ProblemAutoSchema(ReadingAutoSchema):
    def _get_response_bodies(self, direction: Any = "response") -> Any:
        answers: Any = super()._get_response_bodies(direction)
        for status, kinds in by_status(self._problem_codes()).items():
            words = "\n".join(f"- `{kind.code}`: {kind.when}" for kind in kinds)
            answer = self._get_response_for_code(  # type: ignore[no-untyped-call]
                OpenApiResponse(ProblemSerializer, words), str(status), [CONTENT_TYPE], direction
            )
            answer["content"][CONTENT_TYPE]["examples"] = {kind.code: example_of(kind) for kind in kinds}
            if status in HEADERS:
                answer["headers"] = HEADERS[status]
            answers[str(status)] = answer
        return answers

    def _problem_codes(self) -> set[str]:
        """What this operation may answer: what follows from its shape, and what its call raises."""
        is_signed_in, sends_csv = bool(self.get_auth()), self.map_parsers() == ["text/csv"]
        has_body = self.method in ("POST", "PUT", "PATCH") and self.get_request_serializer() is not None
        shape = {
            **dict.fromkeys(SIGNED_IN, is_signed_in),
            "permission_denied": is_signed_in,  # if only to a service token without the scope
            "not_found": "{" in self.path,
            "consent_missing": rests_without_consent(self.get_operation_id(), self.path),
            "empty_body": self.method == "PATCH",
            **dict.fromkeys(WITH_CSV if sends_csv else WITH_BODY, has_body),
            **dict.fromkeys(
                WITH_QUERY, self._is_read() or any(map(is_basic_serializer, self.get_override_parameters()))
            ),
            "unknown_field": FIELDS in self.get_override_parameters(),
            "stale_version": self._is_conditional(),
            "bad_cursor": self._is_paged(),
        }
        found = {code for code, is_possible in shape.items() if is_possible}
        return found | raised_by(self.get_operation_id())

    def get_tags(self) -> list[str]:
        return [tag_of(self.get_operation_id())]

    def get_override_parameters(self) -> list[Any]:
        """With If-Match where the operation reads it."""
        needs, declared = version_need(self.get_operation_id()), super().get_override_parameters()
        return declared if needs is None else [*declared, needs]
