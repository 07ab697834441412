"""The iCalendar feed of a client's scheduled sessions, and the address it is fetched from."""

import uuid

from django.conf import settings
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
from api.pictures import AddressDecides
from api.sign_in import PublicEndpoint
from coaching.exchange.calendar_ics import calendar_of_sessions, calendar_tag
from coaching.operations.calendar_feeds import NewFeed, make_feed, read_feed, revoke_feed


class NewFeedOut(serializers.Serializer[NewFeed]):
    url = serializers.SerializerMethodField(help_text="Shown this once; whoever has it reads the calendar.")
    created_at = serializers.DateTimeField(source="feed.created_at")

    def get_url(self, made: NewFeed) -> str:
        return f"{settings.PUBLIC_URL}/api/v1/calendar/{made.token}.ics"


class CalendarFeedView(Endpoint):
    @extend_schema(operation_id="calendar_feed_create", request=None, responses={201: NewFeedOut})
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """A new address for the client's calendar program; the earlier one ends at once."""
        made = make_feed(actor=self.actor, client_uid=client_id, now=timezone.now())
        return Response(NewFeedOut(made).data, status=201)

    @extend_schema(operation_id="calendar_feed_delete", responses={204: None})
    def delete(self, request: Request, client_id: uuid.UUID) -> Response:
        """The address answers 404 from now on."""
        revoke_feed(actor=self.actor, client_uid=client_id, now=timezone.now())
        return Response(status=204)


class CalendarView(PublicEndpoint):
    content_negotiation_class = AddressDecides

    @extend_schema(
        operation_id="calendar_feed_get",
        responses={(200, "text/calendar"): OpenApiTypes.STR},
    )
    def get(self, request: Request, token: str) -> HttpResponse:
        """Whole days with the name of the plan's day: 28 days back, 180 ahead; no exercise, no injury."""
        calendar = calendar_of_sessions(read_feed(token=token, now=timezone.now()))
        headers = {"ETag": f'"{calendar_tag(calendar)}"', "Cache-Control": "private, no-cache"}
        if is_known(request, headers["ETag"]):
            return HttpResponse(status=304, headers=headers)
        return HttpResponse(calendar, content_type="text/calendar; charset=utf-8", headers=headers)


urlpatterns = [
    path("clients/<uuid:client_id>/calendar-feed", CalendarFeedView.as_view()),
    path("calendar/<str:token>.ics", CalendarView.as_view()),
]
