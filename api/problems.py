"""Every error as RFC 9457 problem+json: a stable type per code, and RFC 6901 pointers to the fields."""

from collections.abc import Iterator
from typing import Any

from django.http import HttpRequest, JsonResponse
from rest_framework import exceptions

from api.problem_types import PROBLEM_TYPES, TYPE_PREFIX
from coaching.errors import FieldFault, ForbearError, TooManyAttemptsError, TrailError

CONTENT_TYPE = "application/problem+json"
UNAVAILABLE_RETRY_AFTER_S = 5
STATUS_OF_CODE = {code: kind.status for code, kind in PROBLEM_TYPES.items()}
TITLES = {
    400: "The request cannot be read",
    401: "Sign in first",
    403: "Not allowed",
    404: "Not found",
    405: "Method not allowed",
    406: "Not available in this form",
    409: "Conflict",
    410: "Gone",
    411: "Length required",
    412: "Not the current version",
    413: "Too large",
    415: "This form is not accepted",
    422: "Not acceptable as it stands",
    428: "Say which version you edit",
    429: "Too many requests",
    500: "Our fault",
    503: "Not available right now",
}


class Problem(exceptions.APIException):
    """An APIException with a stable code, and faults where fields are to blame."""

    def __init__(
        self,
        code: str,
        status_code: int,
        detail: str,
        faults: tuple[FieldFault, ...] = (),
        wait: int | None = None,
    ) -> None:
        super().__init__(detail=detail, code=code)
        self.code = code
        self.status_code = status_code
        self.faults = faults
        self.members: dict[str, Any] = {}
        self.etag: str | None = None
        if wait is not None:
            self.wait = wait


def problem_of(error: ForbearError) -> Problem:
    wait = UNAVAILABLE_RETRY_AFTER_S if isinstance(error, TrailError) else None
    if isinstance(error, TooManyAttemptsError):
        wait = error.retry_after_s
    return Problem(error.code, STATUS_OF_CODE[error.code], error.detail, error.faults, wait)


def problem_body(
    code: str,
    status_code: int,
    detail: str,
    faults: tuple[FieldFault, ...] = (),
    members: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """The members of RFC 9457, section 3.1, and those that extend them (section 3.2)."""
    body: dict[str, Any] = {
        "type": f"{TYPE_PREFIX}{code}",
        "title": TITLES.get(status_code, "Problem"),
        "status": status_code,
        "detail": detail,
    }
    if faults:
        body["errors"] = [
            {"pointer": pointer(fault.path), "code": fault.code, "detail": fault.detail} for fault in faults
        ]
    return body | (members or {})


def pointer(path: tuple[str | int, ...]) -> str:
    """RFC 6901: `~` and `/` in a key are written ~0 and ~1."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in path)


def faults_of(exc: exceptions.ValidationError) -> tuple[FieldFault, ...]:
    return tuple(_walk(exc.detail, ()))


def _walk(detail: Any, path: tuple[str | int, ...]) -> Iterator[FieldFault]:
    if isinstance(detail, dict):
        for key, value in detail.items():
            yield from _walk(value, path if key == "non_field_errors" else (*path, key))
    elif isinstance(detail, list):
        for index, value in enumerate(detail):
            yield from _walk(value, path if isinstance(value, exceptions.ErrorDetail) else (*path, index))
    else:
        yield FieldFault(path, str(getattr(detail, "code", "invalid")), str(detail))


def _plain(request: HttpRequest, code: str, status_code: int, detail: str) -> JsonResponse:
    body = problem_body(code, status_code, detail) | {"instance": request.path}
    return JsonResponse(body, status=status_code, content_type=CONTENT_TYPE)


def answer_bad_request(request: HttpRequest, exception: Exception) -> JsonResponse:
    return _plain(request, "bad_request", 400, "The request cannot be read.")


def answer_not_found(request: HttpRequest, exception: Exception) -> JsonResponse:
    return _plain(request, "not_found", 404, "There is nothing at this address.")


def answer_server_error(request: HttpRequest) -> JsonResponse:
    return _plain(request, "server_error", 500, "Something went wrong on our side.")
