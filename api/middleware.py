"""What holds for every request: an id, an answer that a browser runs nothing of, a body of stated length."""

import uuid
from collections.abc import Callable

import structlog
from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse

from api.parsers import MAX_BODY_BYTES
from api.problems import CONTENT_TYPE, problem_body
from coaching.logs import route_of

READ_ON_BYTES = 16 * 1024 * 1024
NOTHING_RUNS = "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
# The docs page, with its own files and nobody else's; its styles are written into its elements.
OWN_FILES = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)
DOCS = "/api/v1/docs"
# Somebody else's and not there are both 404, so that it must be told as well.
REFUSALS = (401, 403, 404, 429)
# Asked from inside, by what starts and watches the service.
PLAIN_HTTP_ALLOWED = ("/healthz", "/readyz", "/metrics")


class RequestIdMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request_id = str(uuid.uuid4())
        structlog.contextvars.clear_contextvars()
        structlog.contextvars.bind_contextvars(request_id=request_id)
        response = self.get_response(request)
        if response.status_code == 304:  # its length would be that of the body left out (RFC 9110, 8.6)
            response.headers.pop("Content-Length", None)
        response["X-Request-Id"] = request_id
        response.setdefault("Cache-Control", "no-store")
        return response


class RefusalMiddleware:
    """One line for whoever was not let in: the route, and who it was if they are known."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if response.status_code in REFUSALS:
            device = getattr(request, "auth", None)
            structlog.get_logger("api").warning(
                "refused",
                status=response.status_code,
                method=request.method,
                route=route_of(request),
                account=str(request.user.pk) if device else None,
                device=str(device.uid) if device else None,
            )
        return response


class SafeAnswerMiddleware:
    """No answer is a page that runs anything; in production nothing is answered over plain http."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.PRODUCTION and not request.is_secure() and request.path not in PLAIN_HTTP_ALLOWED:
            response: HttpResponse = _refuse(request, "https_required", 403, "Use https, with a new token.")
        else:
            response = self.get_response(request)
        response.setdefault("Content-Security-Policy", OWN_FILES if request.path == DOCS else NOTHING_RUNS)
        response.setdefault("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
        return response


class LengthRequiredMiddleware:
    """A body without a stated length, or with too great a one, is answered before any of it is kept.

    Without this a chunked body would be taken for an empty one. A body that is too large is read on (up to
    16 MiB) and dropped: closing the connection on it would cost many callers the answer that tells them why.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = request.META.get("CONTENT_LENGTH") or ""
        is_digits = length.isdecimal() and len(length) < 20
        if not length and request.META.get("HTTP_TRANSFER_ENCODING"):
            return _refuse(request, "length_required", 411, "Send Content-Length: no chunked bodies.")
        if is_digits and int(length) > MAX_BODY_BYTES:
            _read_on(request, min(int(length), READ_ON_BYTES))
            return _refuse(request, "too_large", 413, f"A body holds at most {MAX_BODY_BYTES} bytes.")
        return self.get_response(request)


def _read_on(request: HttpRequest, length: int) -> None:
    while length > 0:
        piece = request.read(min(length, 64 * 1024))
        if not piece:
            return
        length -= len(piece)


def _refuse(request: HttpRequest, code: str, status: int, detail: str) -> JsonResponse:
    body = problem_body(code, status, detail) | {"instance": request.path}
    return JsonResponse(body, status=status, content_type=CONTENT_TYPE)
