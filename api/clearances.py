"""Clearances by licensed clinicians, and a coach's intervention notes."""

import uuid

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.etags import Shown
from api.fields import CodeField, DayField, FlagField, TextField, WithOwnId
from api.listing import SiteListQuery
from api.permissions import IsCoach
from coaching.models import Clearance, InterventionNote, Joint, SiteSide
from coaching.operations.clearances import ClearanceContent, read_clearances, record_clearance
from coaching.operations.intervention_notes import NoteContent, read_notes, write_note

MAX_FLAGS = 50


class ClearancesQuery(SiteListQuery):
    orders = ("cleared_on",)


class NotesQuery(SiteListQuery):
    orders = ("noted_on",)


class ClearanceIn(WithOwnId):
    """A decision of a licensed clinician; the coach records it and does not make it."""

    joint = CodeField(choices=Joint.values, required=False)
    side = CodeField(choices=SiteSide.values, required=False)
    clinician_name = TextField(max_length=120)
    clinician_profession = TextField(max_length=80)
    cleared_on = DayField()
    flags = serializers.ListField(
        child=TextField(max_length=60), max_length=MAX_FLAGS, help_text="Codes of the symptoms it covers."
    )
    restrictions = TextField(max_length=2000, is_multiline=True, required=False, allow_blank=True)
    valid_until_on = DayField(required=False, allow_null=True)


class ClearanceOut(serializers.Serializer[Clearance]):
    id = serializers.UUIDField(source="uid")
    joint = serializers.CharField()
    side = serializers.CharField()
    clinician_name = serializers.CharField()
    clinician_profession = serializers.CharField()
    cleared_on = serializers.DateField()
    flags = serializers.ListField(child=serializers.CharField())
    restrictions = serializers.CharField()
    valid_until_on = serializers.DateField(allow_null=True)
    recorded_by = serializers.CharField(source="recorded_by.name", default=None, allow_null=True)
    recorded_at = serializers.DateTimeField()


class NoteIn(WithOwnId):
    joint = CodeField(choices=Joint.values)
    side = CodeField(choices=SiteSide.values)
    noted_on = DayField()
    changed = TextField(max_length=2000, is_multiline=True)
    reason = TextField(max_length=2000, is_multiline=True, required=False, allow_blank=True)
    is_shared = FlagField(required=False, help_text="Whether the client sees it; not by default.")


class NoteOut(serializers.Serializer[InterventionNote]):
    id = serializers.UUIDField(source="uid")
    joint = serializers.CharField()
    side = serializers.CharField()
    noted_on = serializers.DateField()
    changed = serializers.CharField()
    reason = serializers.CharField()
    is_shared = serializers.BooleanField()
    author = serializers.CharField(source="author.name", default=None, allow_null=True)
    created_at = serializers.DateTimeField()


class ClearancesView(Endpoint):
    query = ClearancesQuery
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="clearance_list", responses={200: ClearanceOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        rows = read_clearances(actor=self.actor, client_uid=client_id, now=timezone.now())
        return self.page(rows, lambda row: ClearanceOut(row).data)

    @extend_schema(
        operation_id="clearance_create",
        request=ClearanceIn,
        responses={200: ClearanceOut, 201: ClearanceOut},
    )
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """Ends the red flags whose every symptom it covers, at its site if it names one."""
        body = self.checked(ClearanceIn)
        own_uid = body.pop("id", None)
        content = ClearanceContent(flags=tuple(body.pop("flags")), **body)
        kept = record_clearance(
            actor=self.actor, client_uid=client_id, content=content, now=timezone.now(), own_uid=own_uid
        )
        return Response(ClearanceOut(kept.row).data, status=201 if kept.is_new else 200)

    def shown(self, record: Clearance) -> Shown:
        return Shown(None, ClearanceOut(record).data)


class NotesView(Endpoint):
    query = NotesQuery

    @extend_schema(operation_id="intervention_note_list", responses={200: NoteOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """All notes for a coach, the shared ones for the client."""
        rows = read_notes(actor=self.actor, client_uid=client_id, now=timezone.now())
        return self.page(rows, lambda row: NoteOut(row).data)

    @extend_schema(
        operation_id="intervention_note_create", request=NoteIn, responses={200: NoteOut, 201: NoteOut}
    )
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        body = self.checked(NoteIn)
        own_uid = body.pop("id", None)
        kept = write_note(
            actor=self.actor,
            client_uid=client_id,
            content=NoteContent(**body),
            now=timezone.now(),
            own_uid=own_uid,
        )
        return Response(NoteOut(kept.row).data, status=201 if kept.is_new else 200)

    def shown(self, record: InterventionNote) -> Shown:
        return Shown(None, NoteOut(record).data)


urlpatterns = [
    path("clients/<uuid:client_id>/clearances", ClearancesView.as_view()),
    path("clients/<uuid:client_id>/intervention-notes", NotesView.as_view()),
]
