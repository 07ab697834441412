"""Every request carries an id, in the logs and in the answer."""

import uuid
from collections.abc import Callable

import structlog
from django.http import HttpRequest, HttpResponse


class RequestIdMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request_id = str(uuid.uuid4())
        structlog.contextvars.clear_contextvars()
        structlog.contextvars.bind_contextvars(request_id=request_id)
        response = self.get_response(request)
        response["X-Request-Id"] = request_id
        response.setdefault("Cache-Control", "no-store")
        return response
