"""The OpenAPI document: every operation names the problems it may answer with."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers

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
    yours = serializers.JSONField(allow_null=True)
    stored = serializers.JSONField(allow_null=True)


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


ALWAYS = {
    400: "The request cannot be read",
    429: "Too many requests",
    503: "Not available; Retry-After says when",
}
SIGNED_IN = {401: "No valid token", 403: "Not allowed", 404: "Not there, or not yours to see"}
WITH_BODY = {
    409: "Other content stands under this id",
    410: "It has been deleted",
    413: "Too large",
    415: "This form is not accepted",
    422: "Some fields are not acceptable",
}
WITH_VERSION = {412: "Not the current version", 428: "If-Match is missing"}


class ProblemAutoSchema(AutoSchema):
    def _get_response_bodies(self, direction: Any = "response") -> Any:
        answers: Any = super()._get_response_bodies(direction)
        for status, description in self._problems().items():
            problem = OpenApiResponse(ProblemSerializer, description)
            answers.setdefault(
                str(status),
                self._get_response_for_code(  # type: ignore[no-untyped-call]
                    problem, str(status), ["application/problem+json"], direction
                ),
            )
        return answers

    def _problems(self) -> dict[int, str]:
        problems = dict(ALWAYS)
        if self.get_auth():
            problems |= SIGNED_IN
        if self.method in ("POST", "PUT", "PATCH"):
            problems |= WITH_BODY
        if self.method in ("PUT", "PATCH", "DELETE"):
            problems |= WITH_VERSION
        return problems
