"""Pictures over HTTP: a site, a lift, its two sides and adherence by week, as SVG or PNG, light or dark."""

import uuid
from collections.abc import Iterable
from typing import Any, ClassVar

from django.http import HttpResponse
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request

from api.conditional import is_known
from api.endpoint import Endpoint
from api.fields import CodeField, TextField
from api.history import HistoryQuery
from coaching.charts import Drawn, PictureFormat, draw, picture_tag
from coaching.operations.history_reads import (
    read_adherence_weeks,
    read_lift_history,
    read_lift_sides,
    read_site_weeks,
)

MEDIA_TYPES: dict[PictureFormat, str] = {"png": "image/png", "svg": "image/svg+xml"}
SVG = {(200, MEDIA_TYPES["svg"]): OpenApiTypes.STR}
PNG = {(200, MEDIA_TYPES["png"]): OpenApiTypes.BINARY}
THEMES = ["light", "dark"]
# A picture opened on its own runs nothing and loads nothing.
SAFE = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'"}


class PictureQuery(HistoryQuery):
    theme = CodeField(choices=THEMES, default="light")


class LiftPictureQuery(PictureQuery):
    track = TextField(max_length=70, default="fresh", help_text="fresh, or after:<exercise code>.")


class AddressDecides(DefaultContentNegotiation):
    """The ending of the address says what comes; a browser's Accept for pictures is no fault."""

    def select_renderer(
        self, request: Request, renderers: Iterable[BaseRenderer], format_suffix: str | None = None
    ) -> tuple[BaseRenderer, str]:
        renderer = next(iter(renderers))
        return renderer, str(renderer.media_type)


class PictureView(Endpoint):
    picture_format: ClassVar[PictureFormat]
    content_negotiation_class = AddressDecides

    def picture(self, request: Request, history: Drawn, query: dict[str, Any]) -> HttpResponse:
        """The picture, or 304 without drawing it for whoever holds it already."""
        is_dark = query["theme"] == "dark"
        tag = f'"{picture_tag(history, format=self.picture_format, is_dark=is_dark)}"'
        if is_known(request, tag):
            return HttpResponse(status=304, headers={"ETag": tag})
        drawn = draw(history, format=self.picture_format, is_dark=is_dark)
        media_type = MEDIA_TYPES[self.picture_format]
        return HttpResponse(drawn, content_type=media_type, headers={"ETag": tag, **SAFE})


class SitePictureView(PictureView):
    query = PictureQuery

    def site(self, request: Request, client_id: uuid.UUID, joint: str, side: str) -> HttpResponse:
        query = self.asked
        history = read_site_weeks(
            actor=self.actor,
            client_uid=client_id,
            joint=joint,
            side=side,
            weeks=query["weeks"],
            now=timezone.now(),
        )
        return self.picture(request, history, query)


class SiteSvgView(SitePictureView):
    picture_format = "svg"

    @extend_schema(operation_id="site_picture_get_svg", responses=SVG)
    def get(self, request: Request, client_id: uuid.UUID, joint: str, side: str) -> HttpResponse:
        """Pain and joint repetitions of a site by ISO week, with its title and description inside."""
        return self.site(request, client_id, joint, side)


class SitePngView(SitePictureView):
    picture_format = "png"

    @extend_schema(operation_id="site_picture_get_png", responses=PNG)
    def get(self, request: Request, client_id: uuid.UUID, joint: str, side: str) -> HttpResponse:
        """Pain and joint repetitions of a site by ISO week, 720 x 520 pixels."""
        return self.site(request, client_id, joint, side)


class LiftPictureView(PictureView):
    query = LiftPictureQuery

    def lift(self, request: Request, client_id: uuid.UUID, code: str, side: str) -> HttpResponse:
        query = self.asked
        history = read_lift_history(
            actor=self.actor,
            client_uid=client_id,
            exercise_code=code,
            side=side,
            track=query["track"],
            weeks=query["weeks"],
            now=timezone.now(),
        )
        return self.picture(request, history, query)


class LiftSvgView(LiftPictureView):
    picture_format = "svg"

    @extend_schema(operation_id="lift_picture_get_svg", responses=SVG)
    def get(self, request: Request, client_id: uuid.UUID, code: str, side: str) -> HttpResponse:
        """Estimated one-repetition maximum of a lift by exposure, with its trend, told in words inside."""
        return self.lift(request, client_id, code, side)


class LiftPngView(LiftPictureView):
    picture_format = "png"

    @extend_schema(operation_id="lift_picture_get_png", responses=PNG)
    def get(self, request: Request, client_id: uuid.UUID, code: str, side: str) -> HttpResponse:
        """Estimated one-repetition maximum of a lift by exposure, with its trend, 720 x 520 pixels."""
        return self.lift(request, client_id, code, side)


class SidesPictureView(PictureView):
    query = LiftPictureQuery

    def sides(self, request: Request, client_id: uuid.UUID, code: str) -> HttpResponse:
        query = self.asked
        history = read_lift_sides(
            actor=self.actor,
            client_uid=client_id,
            exercise_code=code,
            track=query["track"],
            weeks=query["weeks"],
            now=timezone.now(),
        )
        return self.picture(request, history, query)


class SidesSvgView(SidesPictureView):
    picture_format = "svg"

    @extend_schema(operation_id="lift_sides_picture_get_svg", responses=SVG)
    def get(self, request: Request, client_id: uuid.UUID, code: str) -> HttpResponse:
        """A lift's left and right side by exposure, with their difference, told in words inside."""
        return self.sides(request, client_id, code)


class SidesPngView(SidesPictureView):
    picture_format = "png"

    @extend_schema(operation_id="lift_sides_picture_get_png", responses=PNG)
    def get(self, request: Request, client_id: uuid.UUID, code: str) -> HttpResponse:
        """A lift's left and right side by exposure, with their difference, 720 x 520 pixels."""
        return self.sides(request, client_id, code)


class AdherencePictureView(PictureView):
    query = PictureQuery

    def adherence(self, request: Request, client_id: uuid.UUID) -> HttpResponse:
        query = self.asked
        history = read_adherence_weeks(
            actor=self.actor, client_uid=client_id, weeks=query["weeks"], now=timezone.now()
        )
        return self.picture(request, history, query)


class AdherenceSvgView(AdherencePictureView):
    picture_format = "svg"

    @extend_schema(operation_id="adherence_picture_get_svg", responses=SVG)
    def get(self, request: Request, client_id: uuid.UUID) -> HttpResponse:
        """What was done of the plan by ISO week, between two bounds, with title and description inside."""
        return self.adherence(request, client_id)


class AdherencePngView(AdherencePictureView):
    picture_format = "png"

    @extend_schema(operation_id="adherence_picture_get_png", responses=PNG)
    def get(self, request: Request, client_id: uuid.UUID) -> HttpResponse:
        """What was done of the plan by ISO week, between two bounds, 720 x 520 pixels."""
        return self.adherence(request, client_id)


SITE = "clients/<uuid:client_id>/sites/<str:joint>/<str:side>/picture"
LIFT = "clients/<uuid:client_id>/lifts/<slug:code>/<str:side>/picture"
SIDES = "clients/<uuid:client_id>/lifts/<slug:code>/sides/picture"
ADHERENCE = "clients/<uuid:client_id>/adherence/picture"
urlpatterns = [
    path(f"{SITE}.svg", SiteSvgView.as_view()),
    path(f"{SITE}.png", SitePngView.as_view()),
    path(f"{SIDES}.svg", SidesSvgView.as_view()),  # before the lifts, where it would be a side
    path(f"{SIDES}.png", SidesPngView.as_view()),
    path(f"{LIFT}.svg", LiftSvgView.as_view()),
    path(f"{LIFT}.png", LiftPngView.as_view()),
    path(f"{ADHERENCE}.svg", AdherenceSvgView.as_view()),
    path(f"{ADHERENCE}.png", AdherencePngView.as_view()),
]
