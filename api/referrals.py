"""Referrals: what is asked of a clinician, and the page and the numbers that go with it."""

import uuid
from collections.abc import Callable
from typing import Any, ClassVar

from django.http import HttpResponse
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import is_known
from api.endpoint import Endpoint
from api.etags import Shown
from api.fields import CodeField, TextField, WithOwnId
from api.listing import SiteListQuery
from api.pictures import AddressDecides
from coaching.exchange.referral_fhir import referral_fhir
from coaching.models import Joint, Referral, SiteSide
from coaching.operations.referrals import read_referral_summary, read_referrals, write_referral
from coaching.reads.referrals import ReferralSummary

PAGE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


class ReferralIn(WithOwnId):
    joint = CodeField(choices=Joint.values)
    side = CodeField(choices=SiteSide.values)
    question = TextField(max_length=600, help_text="What is asked of the clinician; it stands on the page.")
    consent_text_version = TextField(
        max_length=40,
        required=False,
        allow_blank=True,
        help_text="Records the client's consent to be referred, to this text, as told to you.",
    )


class ReferralsQuery(SiteListQuery):
    orders = ("until_on",)


class ReferralOut(serializers.Serializer[Referral]):
    id = serializers.UUIDField(source="uid")
    joint = serializers.ChoiceField(choices=Joint.values)
    side = serializers.ChoiceField(choices=SiteSide.values)
    question = serializers.CharField()
    consent_text_version = serializers.CharField(source="consent.text_version")
    until_on = serializers.DateField(help_text="The last day that page and numbers tell of.")
    referred_by = serializers.SerializerMethodField(help_text="Null once the account has been erased.")
    created_at = serializers.DateTimeField()

    def get_referred_by(self, referral: Referral) -> str | None:
        return referral.referred_by.name if referral.referred_by else None


class ReferralsView(Endpoint):
    query = ReferralsQuery

    @extend_schema(operation_id="referral_list", responses={200: ReferralOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """What was asked so far, newest first."""
        rows = read_referrals(actor=self.actor, client_uid=client_id, now=timezone.now())
        return self.page(rows, lambda row: ReferralOut(row).data)

    @extend_schema(
        operation_id="referral_create", request=ReferralIn, responses={200: ReferralOut, 201: ReferralOut}
    )
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """A coach's question about one site; 403 without the client's consent to be referred."""
        asked = self.checked(ReferralIn)
        own_uid = asked.pop("id", None)
        kept = write_referral(
            actor=self.actor, client_uid=client_id, now=timezone.now(), own_uid=own_uid, **asked
        )
        return Response(ReferralOut(kept.row).data, status=201 if kept.is_new else 200)

    def shown(self, record: Referral) -> Shown:
        return Shown(None, ReferralOut(record).data)


class ReferralFileView(Endpoint):
    content_negotiation_class = AddressDecides
    content_type: ClassVar[str]
    ending: ClassVar[str]
    write: ClassVar[Callable[[ReferralSummary], bytes]]

    def file(self, request: Request, client_id: uuid.UUID, referral_id: uuid.UUID) -> HttpResponse:
        summary = read_referral_summary(
            actor=self.actor, client_uid=client_id, referral_uid=referral_id, now=timezone.now()
        )
        headers = {"ETag": f'"{_pages().page_tag(summary, self.ending)}"'}
        if is_known(request, headers["ETag"]):
            return HttpResponse(status=304, headers=headers)
        headers["Content-Disposition"] = f'inline; filename="referral.{self.ending}"'
        headers["Content-Security-Policy"] = PAGE_POLICY
        return HttpResponse(type(self).write(summary), content_type=self.content_type, headers=headers)


def _pages() -> Any:
    """What lays pages out, loaded late: its library takes longer to load than the whole of Django."""
    from coaching.exchange import referral_page

    return referral_page


def _html(summary: ReferralSummary) -> bytes:
    page: bytes = _pages().referral_html(summary)
    return page


def _pdf(summary: ReferralSummary) -> bytes:
    page: bytes = _pages().referral_pdf(summary)
    return page


class ReferralHtmlView(ReferralFileView):
    content_type, ending, write = "text/html; charset=utf-8", "html", _html

    @extend_schema(operation_id="referral_get_html", responses={(200, "text/html"): OpenApiTypes.STR})
    def get(self, request: Request, client_id: uuid.UUID, referral_id: uuid.UUID) -> HttpResponse:
        """One page: injuries, sixteen weeks of pain and exposure, alerts, shared notes, and the question."""
        return self.file(request, client_id, referral_id)


class ReferralPdfView(ReferralFileView):
    content_type, ending, write = "application/pdf", "pdf", _pdf

    @extend_schema(operation_id="referral_get_pdf", responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, client_id: uuid.UUID, referral_id: uuid.UUID) -> HttpResponse:
        """The same on one sheet of A4; what has no room is counted on it."""
        return self.file(request, client_id, referral_id)


class ReferralFhirView(ReferralFileView):
    content_type, ending, write = "application/fhir+json", "fhir.json", referral_fhir

    @extend_schema(
        operation_id="referral_get_fhir", responses={(200, "application/fhir+json"): OpenApiTypes.OBJECT}
    )
    def get(self, request: Request, client_id: uuid.UUID, referral_id: uuid.UUID) -> HttpResponse:
        """Pain reports and weekly joint reps as an HL7 FHIR R4B bundle, under a pseudonym."""
        return self.file(request, client_id, referral_id)


ONE = "clients/<uuid:client_id>/referrals/<uuid:referral_id>"
urlpatterns = [
    path("clients/<uuid:client_id>/referrals", ReferralsView.as_view()),
    path(f"{ONE}.html", ReferralHtmlView.as_view()),
    path(f"{ONE}.pdf", ReferralPdfView.as_view()),
    path(f"{ONE}.fhir.json", ReferralFhirView.as_view()),
]
