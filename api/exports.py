"""Records taken out as CSV files: a client's, a plan, or a whole practice's."""

import uuid
from collections.abc import Callable, Iterator, Sequence

from django.http import HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request

from api.conditional import is_known
from api.endpoint import Endpoint
from api.permissions import IsCoach
from api.pictures import AddressDecides
from coaching.exchange.csv_files import FORM, pain_reports_file, plans_file, sets_file
from coaching.operations.exports import Listed, list_pain_reports, list_plan_versions, list_sessions

CSV = {(200, "text/csv"): OpenApiTypes.STR}


def csv_file(
    request: Request, listed: Listed, name: str, write: Callable[[Sequence[int]], Iterator[bytes]]
) -> HttpResponseBase:
    """The file piece by piece, or 304 for whoever holds it; its name says what it is and never of whom."""
    headers = {"ETag": f'"{FORM}-{listed.digest}"', "Cache-Control": "private, no-cache"}
    if is_known(request, headers["ETag"]):
        return HttpResponse(status=304, headers=headers)
    headers["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    content_type = "text/csv; charset=utf-8; header=present"
    return StreamingHttpResponse(write(listed.keys), content_type=content_type, headers=headers)


class FileView(Endpoint):
    content_negotiation_class = AddressDecides


class SessionsFileView(FileView):
    @extend_schema(operation_id="session_file_get", responses=CSV)
    def get(self, request: Request, client_id: uuid.UUID) -> HttpResponseBase:
        """A client's sessions, one row per set and one for a session without sets, oldest first."""
        listed = list_sessions(actor=self.actor, client_uid=client_id, now=timezone.now())
        return csv_file(request, listed, "sessions", sets_file)


class PainReportsFileView(FileView):
    @extend_schema(operation_id="pain_report_file_get", responses=CSV)
    def get(self, request: Request, client_id: uuid.UUID) -> HttpResponseBase:
        """A client's pain reports, within sessions or not, oldest first."""
        listed = list_pain_reports(actor=self.actor, client_uid=client_id, now=timezone.now())
        return csv_file(request, listed, "pain-reports", pain_reports_file)


class AllSessionsFileView(FileView):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="session_file_get_all", responses=CSV)
    def get(self, request: Request) -> HttpResponseBase:
        """The same of every client of the practice, those who have left included. Owners only."""
        listed = list_sessions(actor=self.actor, client_uid=None, now=timezone.now())
        return csv_file(request, listed, "sessions", sets_file)


class AllPainReportsFileView(FileView):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="pain_report_file_get_all", responses=CSV)
    def get(self, request: Request) -> HttpResponseBase:
        """The same of every client of the practice, those who have left included. Owners only."""
        listed = list_pain_reports(actor=self.actor, client_uid=None, now=timezone.now())
        return csv_file(request, listed, "pain-reports", pain_reports_file)


class PlanFileView(FileView):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="plan_file_get", responses=CSV)
    def get(self, request: Request, plan_id: uuid.UUID) -> HttpResponseBase:
        """All versions of a plan, one row per prescription."""
        listed = list_plan_versions(actor=self.actor, plan_uid=plan_id, now=timezone.now())
        return csv_file(request, listed, "plan", plans_file)


class AllPlansFileView(FileView):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="plan_file_get_all", responses=CSV)
    def get(self, request: Request) -> HttpResponseBase:
        """All versions of all plans in use. Owners only."""
        listed = list_plan_versions(actor=self.actor, plan_uid=None, now=timezone.now())
        return csv_file(request, listed, "plans", plans_file)


urlpatterns = [
    path("clients/<uuid:client_id>/exports/sessions.csv", SessionsFileView.as_view()),
    path("clients/<uuid:client_id>/exports/pain-reports.csv", PainReportsFileView.as_view()),
    path("plans/<uuid:plan_id>/exports/plan.csv", PlanFileView.as_view()),
    path("exports/sessions.csv", AllSessionsFileView.as_view()),
    path("exports/pain-reports.csv", AllPainReportsFileView.as_view()),
    path("exports/plans.csv", AllPlansFileView.as_view()),
]
