"""From an exception to its problem answer; apart from `problems`, since DRF's own start-up imports that."""

from typing import Any

import structlog
from django.db import IntegrityError, InterfaceError, OperationalError
from drf_standardized_errors.formatter import ExceptionFormatter
from drf_standardized_errors.handler import ExceptionHandler
from rest_framework import exceptions, status
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.problems import (
    CONTENT_TYPE,
    UNAVAILABLE_RETRY_AFTER_S,
    Problem,
    faults_of,
    problem_body,
    problem_of,
)
from coaching.errors import DiffersError, ForbearError
from coaching.models.database_faults import constraint_of

TRY_AGAIN = (status.HTTP_429_TOO_MANY_REQUESTS, status.HTTP_503_SERVICE_UNAVAILABLE)


class ProblemFormatter(ExceptionFormatter):
    def run(self) -> dict[str, Any]:
        exc = self.exc
        if isinstance(exc, exceptions.ValidationError):
            return problem_body("invalid", exc.status_code, "Some fields are not acceptable.", faults_of(exc))
        if isinstance(exc, Problem):
            return problem_body(exc.code, exc.status_code, str(exc.detail), exc.faults, exc.members)
        if exc.status_code >= 500:
            return problem_body("server_error", exc.status_code, "Something went wrong on our side.")
        code = exc.get_codes()
        return problem_body(code if isinstance(code, str) else "invalid", exc.status_code, str(exc.detail))


class ProblemHandler(ExceptionHandler):
    def convert_known_exceptions(self, exc: Exception) -> Exception:
        if isinstance(exc, ForbearError):
            return self._told(exc)
        if isinstance(exc, OperationalError | InterfaceError):
            structlog.get_logger("api").warning("database_unavailable", error=type(exc).__name__)
            detail = "The database is not available; try again."
            return Problem("unavailable", 503, detail, wait=UNAVAILABLE_RETRY_AFTER_S)
        if isinstance(exc, IntegrityError):
            structlog.get_logger("api").warning("constraint_met", constraint=constraint_of(exc))
            return Problem("conflict", 409, "Another row already holds what this one needs.")
        if isinstance(exc, exceptions.ValidationError):
            exc.status_code = status.HTTP_422_UNPROCESSABLE_ENTITY
        converted: Exception = super().convert_known_exceptions(exc)
        return converted

    def _told(self, error: ForbearError) -> Problem:
        """The problem, and for a conflict where what was sent differs from what is stored."""
        view = self.context.get("view")
        if isinstance(error, DiffersError) and isinstance(view, Endpoint):
            return view.conflict(error)
        return problem_of(error)

    def get_headers(self, exc: exceptions.APIException) -> dict[str, str]:
        headers: dict[str, str] = super().get_headers(exc)
        if isinstance(exc, Problem) and exc.etag is not None:
            headers["ETag"] = exc.etag
        return headers

    def format_exception(self, exc: exceptions.APIException) -> dict[str, Any]:
        return ProblemFormatter(exc, self.context, self.exc).run()

    def get_response(self, exc: exceptions.APIException, data: dict[str, Any]) -> Response:
        request = self.context.get("request")
        if request is not None:
            data["instance"] = request.path
        headers = self.get_headers(exc)
        if exc.status_code in TRY_AGAIN:
            headers.setdefault("Retry-After", str(UNAVAILABLE_RETRY_AFTER_S))
        return Response(data, exc.status_code, headers=headers, content_type=CONTENT_TYPE)


def handle_exception(exc: Exception, context: Any) -> Response | None:
    response: Response | None = ProblemHandler(exc, context).run()
    return response
