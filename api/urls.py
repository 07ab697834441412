"""Every address, by noun; each noun's module holds its serializers and views."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

handler400 = "api.problems.answer_bad_request"
handler404 = "api.problems.answer_not_found"
handler500 = "api.problems.answer_server_error"

urlpatterns = [
    path("", include("api.health")),
    path("", include("api.metrics")),
    path("", include("api.problem_pages")),
    path("api/v1/schema", SpectacularAPIView.as_view(), name="schema"),
    path("api/v1/docs", SpectacularSwaggerSplitView.as_view(url_name="schema"), name="docs"),
    path("api/v1/", include("api.sign_in")),
    path("api/v1/", include("api.password_resets")),
    path("api/v1/", include("api.second_factor")),
    path("api/v1/", include("api.clients")),
    path("api/v1/", include("api.merging")),
    path("api/v1/", include("api.memberships")),
    path("api/v1/", include("api.injuries")),
    path("api/v1/", include("api.clearances")),
    path("api/v1/", include("api.plans")),
    path("api/v1/", include("api.exercises")),
    path("api/v1/", include("api.assignments")),
    path("api/v1/", include("api.next_load")),
    path("api/v1/", include("api.sessions")),
    path("api/v1/", include("api.pain_reports")),
    path("api/v1/", include("api.alerts")),
    path("api/v1/", include("api.sheet")),
    path("api/v1/", include("api.history")),
    path("api/v1/", include("api.pictures")),
    path("api/v1/", include("api.exposure")),
    path("api/v1/", include("api.plan_preview")),
    path("api/v1/", include("api.swaps")),
    path("api/v1/", include("api.calendar_feeds")),
    path("api/v1/", include("api.referrals")),
    path("api/v1/", include("api.changes")),
    path("api/v1/", include("api.exports")),
    path("api/v1/", include("api.erasure")),
    path("api/v1/", include("api.practice")),
    path("api/v1/", include("api.imports")),
    path("api/v1/", include("api.webhooks")),
    path("api/v1/", include("api.service_tokens")),
]
