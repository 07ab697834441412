"""Records brought in as CSV files: checked row by row, and written all or not at all."""

import uuid
from collections.abc import Mapping
from typing import IO, Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import StrictSerializer
from api.parsers import whole_body
from api.permissions import IsCoach
from api.problems import Problem
from coaching.errors import FieldFault
from coaching.exchange.pain_csv import read_pain_reports
from coaching.exchange.plans_csv import read_plans
from coaching.exchange.sets_csv import read_sets
from coaching.exchange.table import text_in
from coaching.operations.import_pain import ImportedPain, import_pain_reports
from coaching.operations.import_plans import ImportedPlans, import_plans
from coaching.operations.import_rows import RowProblem
from coaching.operations.imports import Asked, Imported, import_sets
from coaching.operations.places import place_faults
from coaching.reads.clients import client_for

MOST_ROWS = 20_000
MOST_PROBLEMS_TOLD = 1000
CSV_BODY = {"text/csv": OpenApiTypes.STR}
ID_IS_TAKEN = {"conflict", "gone"}


# The bytes of a CSV body; what they say is read where the problems of its rows are gathered.
class CsvParser(BaseParser):
    media_type = "text/csv"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        return whole_body(stream, parser_context)


@extend_schema_field({"type": "boolean", "default": False})
class WordFlagField(serializers.Field[bool, str, bool, Any]):
    """true or false, as a query string has it."""

    def to_internal_value(self, data: str) -> bool:
        if data not in ("true", "false"):
            raise serializers.ValidationError("Give true or false.", code="invalid")
        return data == "true"

    def to_representation(self, value: bool) -> bool:
        return value


class ZoneField(serializers.CharField):
    def to_internal_value(self, data: Any) -> str:
        zone = super().to_internal_value(data)
        for fault in place_faults(zone=zone):
            raise serializers.ValidationError(fault.detail, code=fault.code)
        return zone


class PlansImportQuery(StrictSerializer):
    dry_run = WordFlagField(default=False, help_text="Check and count, write nothing.")
    skip_bad = WordFlagField(default=False, help_text="Write what has no bad row; else all or nothing.")


class ImportQuery(PlansImportQuery):
    leave_out_links = WordFlagField(
        default=False, help_text="Empty the ids of plan, calendar or session that are not of this practice."
    )
    zone = ZoneField(
        required=False, max_length=64, help_text="Where times without an offset were written; else refused."
    )


class RowProblemOut(serializers.Serializer[RowProblem]):
    line = serializers.IntegerField()
    column = serializers.CharField(help_text="Empty where the whole row is meant.")
    code = serializers.CharField()
    detail = serializers.CharField()


class BroughtOut(serializers.Serializer[Any]):
    rows = serializers.IntegerField()
    bad_rows = serializers.IntegerField()
    is_written = serializers.BooleanField(help_text="False for a dry run: the counts are what would be.")
    problems = RowProblemOut(many=True, help_text=f"Of skipped rows, the first {MOST_PROBLEMS_TOLD}.")

    def to_representation(self, instance: Any) -> dict[str, Any]:
        told: dict[str, Any] = super().to_representation(instance)
        return told | {"problems": told["problems"][:MOST_PROBLEMS_TOLD]}


class ImportedSetsOut(BroughtOut):
    sessions_new = serializers.IntegerField()
    sessions_standing = serializers.IntegerField()
    sessions_refused = serializers.IntegerField()
    sets_new = serializers.IntegerField()
    sets_to_confirm = serializers.IntegerField()


class ImportedPainOut(BroughtOut):
    reports_new = serializers.IntegerField()
    reports_standing = serializers.IntegerField()
    reports_refused = serializers.IntegerField()
    urgent = serializers.IntegerField(help_text="How many must be looked at at once; see the alerts.")


class ImportedPlansOut(BroughtOut):
    plans_new = serializers.IntegerField()
    plans_standing = serializers.IntegerField()
    plans_refused = serializers.IntegerField()


class ImportView(Endpoint):
    parser_classes: list[type[BaseParser]] = [CsvParser]

    def file_sent(self) -> str:
        if self.request.stream is None:
            raise Problem("empty_body", 400, "Send the file as the body.")
        content: Any = self.request.data
        return text_in(content)

    def asked(self, query: dict[str, Any], client_id: uuid.UUID | None = None) -> Asked:
        return Asked(
            only=client_for(self.actor, client_id) if client_id else None,
            is_dry_run=query["dry_run"],
            skips_bad=query["skip_bad"],
            leaves_out_links=query.get("leave_out_links", False),
        )

    def sets(self, client_id: uuid.UUID | None) -> Response:
        query = self.checked_query(ImportQuery)
        asked = self.asked(query, client_id)
        rows = read_sets(
            self.file_sent(),
            names_clients=client_id is None,
            zone=query.get("zone"),
            max_rows=MOST_ROWS,
        )
        imported = import_sets(actor=self.actor, rows=rows, now=timezone.now(), asked=asked)
        return answer(imported, asked, ImportedSetsOut)

    def pain_reports(self, client_id: uuid.UUID | None) -> Response:
        query = self.checked_query(ImportQuery)
        asked = self.asked(query, client_id)
        rows = read_pain_reports(
            self.file_sent(),
            names_clients=client_id is None,
            zone=query.get("zone"),
            max_rows=MOST_ROWS,
        )
        imported = import_pain_reports(actor=self.actor, rows=rows, now=timezone.now(), asked=asked)
        return answer(imported, asked, ImportedPainOut)


class ClientSessionsImportView(ImportView):
    @extend_schema(
        operation_id="session_file_import",
        parameters=[ImportQuery],
        request=CSV_BODY,
        responses={200: ImportedSetsOut},
    )
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """Bring a file of one client's sets in; the column client may be left out.

        Ids in the file decide: the same content again writes nothing, other content is refused (409).
        Problems point at /rows/{line of the file}/{column}.
        """
        return self.sets(client_id)


class SessionsImportView(ImportView):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(
        operation_id="session_file_import_all",
        parameters=[ImportQuery],
        request=CSV_BODY,
        responses={200: ImportedSetsOut},
    )
    def post(self, request: Request) -> Response:
        """The same for the sets of many clients, each named by id or by the exact name."""
        return self.sets(None)


class ClientPainReportsImportView(ImportView):
    @extend_schema(
        operation_id="pain_report_file_import",
        parameters=[ImportQuery],
        request=CSV_BODY,
        responses={200: ImportedPainOut},
    )
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """Bring a file of one client's pain reports in, after the sessions that they belong to.

        What is urgent raises its alerts and mails as a post of today does.
        """
        return self.pain_reports(client_id)


class PainReportsImportView(ImportView):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(
        operation_id="pain_report_file_import_all",
        parameters=[ImportQuery],
        request=CSV_BODY,
        responses={200: ImportedPainOut},
    )
    def post(self, request: Request) -> Response:
        """The same for the pain reports of many clients, each named by id or by the exact name."""
        return self.pain_reports(None)


class PlansImportView(ImportView):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(
        operation_id="plan_file_import",
        parameters=[PlansImportQuery],
        request=CSV_BODY,
        responses={200: ImportedPlansOut},
    )
    def post(self, request: Request) -> Response:
        """Bring plans in with all their versions, as plans of whoever brings them."""
        asked = self.asked(self.checked_query(PlansImportQuery))
        rows = read_plans(self.file_sent(), max_rows=MOST_ROWS)
        imported = import_plans(actor=self.actor, rows=rows, now=timezone.now(), asked=asked)
        return answer(imported, asked, ImportedPlansOut)


def answer(
    imported: Imported | ImportedPain | ImportedPlans, asked: Asked, out: type[BroughtOut]
) -> Response:
    """What became of the file; where bad rows kept it from being written, a problem for each of them."""
    if not imported.problems or (asked.skips_bad and imported.has_good):
        return Response(out(imported).data)
    faults = tuple(
        FieldFault(("rows", row.line, row.column) if row.column else ("rows", row.line), row.code, row.detail)
        for row in imported.problems[:MOST_PROBLEMS_TOLD]
    )
    n_problems = len(imported.problems)
    is_taken = {row.code for row in imported.problems} <= ID_IS_TAKEN
    code, status = ("conflict", 409) if is_taken else ("invalid", 422)
    detail = f"Bad rows: {imported.bad_rows:,} of {imported.rows:,}; problems: {n_problems:,}."
    if n_problems > MOST_PROBLEMS_TOLD:
        detail += f" The first {MOST_PROBLEMS_TOLD:,} are told."
    raise Problem(code, status, detail, faults)


urlpatterns = [
    path("clients/<uuid:client_id>/imports/sessions", ClientSessionsImportView.as_view()),
    path("clients/<uuid:client_id>/imports/pain-reports", ClientPainReportsImportView.as_view()),
    path("imports/sessions", SessionsImportView.as_view()),
    path("imports/pain-reports", PainReportsImportView.as_view()),
    path("imports/plans", PlansImportView.as_view()),
]
