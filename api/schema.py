"""The OpenAPI document: every operation names the problems it may answer with."""

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers


class FaultSerializer(serializers.Serializer[Any]):
    pointer = serializers.CharField(help_text="RFC 6901 pointer to the faulty field.")
    code = serializers.CharField()
    detail = serializers.CharField()


class ProblemSerializer(serializers.Serializer[Any]):
    """RFC 9457 problem details."""

    type = serializers.CharField(help_text="Stable for each kind of problem.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    instance = serializers.CharField(required=False)
    errors = FaultSerializer(many=True, required=False)  # type: ignore[assignment]  # RFC 9457 extension member


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
    def get_response_serializers(self) -> Any:
        answers: Any = super().get_response_serializers()
        if not isinstance(answers, dict):
            answers = {"200": answers}
        problems = dict(ALWAYS)
        if self.get_auth():
            problems |= SIGNED_IN
        if self.method in ("POST", "PUT", "PATCH"):
            problems |= WITH_BODY
        if self.method in ("PUT", "PATCH", "DELETE"):
            problems |= WITH_VERSION
        for status, description in problems.items():
            answers.setdefault(
                (status, "application/problem+json"), OpenApiResponse(ProblemSerializer, description)
            )
        return answers
