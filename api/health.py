"""For the machines that watch the service: no token, nothing about any practice."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import path
from django.views.decorators.http import require_safe

from api.problems import CONTENT_TYPE, problem_body
from coaching.reads.readiness import is_ready

RETRY_AFTER_S = 5


@require_safe
def tell_alive(request: HttpRequest) -> HttpResponse:
    """The process answers; says nothing about the database."""
    return JsonResponse({"status": "alive"})


@require_safe
def tell_ready(request: HttpRequest) -> HttpResponse:
    """The database answers and its migrations are applied."""
    if is_ready():
        return JsonResponse({"status": "ready"})
    body = problem_body("not_ready", 503, "The database does not answer, or its migrations are not applied.")
    return JsonResponse(
        body | {"instance": request.path},
        status=503,
        content_type=CONTENT_TYPE,
        headers={"Retry-After": str(RETRY_AFTER_S)},
    )


urlpatterns = [path("healthz", tell_alive), path("readyz", tell_ready)]
