"""Pain reports on their own: the next morning, at rest, between sessions."""

import uuid

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

import api.made_ids  # noqa: F401 - registers the converter
from api.counted_posts import CountedPost
from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import CodeField
from api.listing import SiteListQuery
from api.pain_fields import DeleteQuery, PainReportAlone, PainReportOut, UrgentOut, pain_entry
from coaching.models import PainMoment, PainReport
from coaching.operations.pain import (
    RecordedPain,
    delete_pain_report,
    read_pain_report,
    read_pain_reports,
    record_pain_report,
)
from coaching.reads.clients import written_client
from coaching.reads.symptoms import SymptomQuestion, symptom_questions


class PainReportsQuery(SiteListQuery):
    orders = ("felt_on", "reported_at")

    moment = CodeField(choices=PainMoment.values, required=False)


class RecordedPainOut(serializers.Serializer[RecordedPain]):
    pain_report = PainReportOut(source="report")
    urgent = UrgentOut(many=True)


class SymptomQuestionOut(serializers.Serializer[SymptomQuestion]):
    code = serializers.CharField()
    question = serializers.CharField()
    asked_after = serializers.ListField(child=serializers.CharField())


class SymptomsOut(serializers.Serializer[object]):
    questions = SymptomQuestionOut(many=True)
    review_note = serializers.CharField()


class PainReportView(CountedPost):
    @extend_schema(
        operation_id="pain_report_put",
        request=PainReportAlone,
        responses={200: RecordedPainOut, 201: RecordedPainOut},
    )
    def put(self, request: Request, report_id: uuid.UUID) -> Response:
        """Store a pain report under an id that the client app made; sending it again is harmless.

        Other content needs If-Match, or answers 409. `session` null takes it out of its session.
        """
        report_id = self.client_made(report_id)
        data, expected = self.checked(PainReportAlone), self.named_version()
        recorded = record_pain_report(
            actor=self.actor,
            client=written_client(self.actor, data.get("client")),
            entry=pain_entry(data, report_id),
            now=timezone.now(),
            expected_version=expected,
        )
        body, report = RecordedPainOut(recorded).data, recorded.report
        status, self.is_edit = 201 if recorded.is_new else 200, recorded.is_edit
        return with_etag(body, report.version, status=status, shown=body["pain_report"])

    @extend_schema(operation_id="pain_report_get", responses={200: PainReportOut})
    def get(self, request: Request, report_id: uuid.UUID) -> Response:
        report = read_pain_report(actor=self.actor, report_uid=report_id, now=timezone.now())
        return with_etag(PainReportOut(report).data, report.version)

    @extend_schema(operation_id="pain_report_delete", parameters=[DeleteQuery], responses={204: None})
    def delete(self, request: Request, report_id: uuid.UUID) -> Response:
        """Take a report back for good; its id answers 410 from then on. Needs If-Match.

        So does an id whose post has not come in yet: a device that had no answer names version 1. A red flag
        that the report has raised stands until it is cleared or withdrawn.
        """
        delete_pain_report(
            actor=self.actor,
            report_uid=self.client_made(report_id),
            expected_version=self.expected_version(),
            now=timezone.now(),
            client_uid=self.checked_query(DeleteQuery).get("client"),
        )
        return Response(status=204)

    def shown(self, record: PainReport) -> Shown:
        report = read_pain_report(actor=self.actor, report_uid=record.uid, now=timezone.now())
        return Shown(report.version, PainReportOut(report).data)


class ClientPainReportsView(Endpoint):
    query = PainReportsQuery

    @extend_schema(operation_id="pain_report_list", responses={200: PainReportOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """A client's pain reports, newest first, in cursor pages; from and until are of felt_on."""
        rows = read_pain_reports(actor=self.actor, client_uid=client_id, now=timezone.now())
        return self.page(rows, lambda row: PainReportOut(row).data)


class SymptomsView(Endpoint):
    @extend_schema(operation_id="symptom_list", responses={200: SymptomsOut})
    def get(self, request: Request) -> Response:
        """The coded questions that a client app asks with a pain report: yes, no or not answered."""
        return Response(SymptomsOut(symptom_questions(practice_id=self.actor.practice_id)).data)


urlpatterns = [
    path("symptoms", SymptomsView.as_view()),
    path("pain-reports/<made:report_id>", PainReportView.as_view()),
    path("clients/<uuid:client_id>/pain-reports", ClientPainReportsView.as_view()),
]
