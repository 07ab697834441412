"""What the `type` of a problem leads to: the same that the API document says about it, without a token."""

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.urls import path
from django.views.decorators.http import require_safe

from api.problem_types import PROBLEM_TYPES
from api.problems import TITLES


@require_safe
def tell_problem(request: HttpRequest, code: str) -> HttpResponse:
    kind = PROBLEM_TYPES.get(code)
    if kind is None:
        raise Http404
    return JsonResponse(
        {
            "type": kind.uri,
            "title": TITLES[kind.status],
            "status": kind.status,
            "when": kind.when,
            "what_to_do": kind.remedy,
        }
    )


urlpatterns = [path("problems/<slug:code>", tell_problem)]
