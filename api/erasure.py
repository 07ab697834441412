"""A person taken out as one archive, and erased for good."""

import uuid
from typing import Any

from django.http import FileResponse
from django.http.response import HttpResponseBase
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import StrictSerializer
from api.pictures import AddressDecides
from coaching.exchange.erasing import erase_person
from coaching.exchange.person_archive import export_person
from coaching.operations.erasure import Erased

MAX_NAME_CHARACTERS = 120


class ConfirmField(serializers.CharField):
    """A name, held against the record letter by letter."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class ErasureIn(StrictSerializer):
    confirm = ConfirmField(
        max_length=MAX_NAME_CHARACTERS,
        trim_whitespace=False,
        help_text="The client's name as it stands in the record, typed by whoever erases.",
    )


class ErasedOut(serializers.Serializer[Erased]):
    erased_at = serializers.DateTimeField(source="erasure.erased_at")
    rows = serializers.IntegerField(help_text="How many rows were deleted.")
    account_erased = serializers.BooleanField(
        source="has_account_gone",
        help_text="False where there was no account, or it has another place and stays there.",
    )


class ExportView(Endpoint):
    content_negotiation_class = AddressDecides
    is_made_anew = True  # of one moment, which no transaction can take that has asked before

    @extend_schema(operation_id="client_export", responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def get(self, request: Request, client_id: uuid.UUID) -> HttpResponseBase:
        """All there is about a client as one zip file: JSON without loss, CSV to read, and a manifest.

        For the client, their coaches and owners; each time is on the trail. The client's own leaves out what
        coaches noted for themselves.
        """
        file = export_person(actor=self.actor, client_uid=client_id, now=timezone.now())
        headers = {"Cache-Control": "private, no-store"}
        return FileResponse(
            file, as_attachment=True, filename="person.zip", content_type="application/zip", headers=headers
        )


class ErasureView(Endpoint):
    @extend_schema(operation_id="client_erase", request=ErasureIn, responses={200: ErasedOut})
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """Delete all there is about a client, for good: for owners, and for the clients themselves.

        Afterwards every record of theirs answers 410, and so do their devices. Export first.
        """
        erased = erase_person(
            actor=self.actor,
            client_uid=client_id,
            confirm=self.checked(ErasureIn)["confirm"],
            now=timezone.now(),
        )
        return Response(ErasedOut(erased).data)


urlpatterns = [
    path("clients/<uuid:client_id>/export", ExportView.as_view()),
    path("clients/<uuid:client_id>/erasure", ErasureView.as_view()),
]
