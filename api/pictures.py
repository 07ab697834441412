"""Pictures over HTTP: a site's weeks and a lift's exposures, as SVG or PNG, light or dark."""

import uuid
from collections.abc import Iterable
from typing import ClassVar

from django.http import HttpResponse
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request

from api.endpoint import Endpoint
from api.fields import CodeField, StrictSerializer, TextField
from api.history import is_known
from coaching.charts import PictureFormat, draw_lift, draw_site, picture_tag
from coaching.operations.history_reads import read_lift_history, read_site_weeks

MEDIA_TYPES: dict[PictureFormat, str] = {"png": "image/png", "svg": "image/svg+xml"}
THEMES = ["light", "dark"]
# A picture opened on its own runs nothing and loads nothing.
SAFE = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'"}


class PictureQuery(StrictSerializer):
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


class SitePictureView(Endpoint):
    picture_format: ClassVar[PictureFormat]
    content_negotiation_class = AddressDecides

    def picture(self, request: Request, client_id: uuid.UUID, joint: str, side: str) -> HttpResponse:
        is_dark = self.checked_query(PictureQuery)["theme"] == "dark"
        now = timezone.now()
        history = read_site_weeks(actor=self.actor, client_uid=client_id, joint=joint, side=side, now=now)
        tag = picture_tag(history, format=self.picture_format, is_dark=is_dark)
        if is_known(request, f'"{tag}"'):
            return _unchanged(tag)
        drawn = draw_site(history, format=self.picture_format, is_dark=is_dark)
        return _picture(drawn, self.picture_format, tag)


class SiteSvgView(SitePictureView):
    picture_format = "svg"

    @extend_schema(
        operation_id="site_picture_svg",
        parameters=[PictureQuery],
        responses={(200, "image/svg+xml"): OpenApiTypes.STR},
    )
    def get(self, request: Request, client_id: uuid.UUID, joint: str, side: str) -> HttpResponse:
        """Pain and joint repetitions of a site over sixteen weeks, with its title and description inside."""
        return self.picture(request, client_id, joint, side)


class SitePngView(SitePictureView):
    picture_format = "png"

    @extend_schema(
        operation_id="site_picture_png",
        parameters=[PictureQuery],
        responses={(200, "image/png"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, client_id: uuid.UUID, joint: str, side: str) -> HttpResponse:
        """Pain and joint repetitions of a site over sixteen weeks, 720 x 520 pixels."""
        return self.picture(request, client_id, joint, side)


class LiftPictureView(Endpoint):
    picture_format: ClassVar[PictureFormat]
    content_negotiation_class = AddressDecides

    def picture(self, request: Request, client_id: uuid.UUID, code: str, side: str) -> HttpResponse:
        query, now = self.checked_query(LiftPictureQuery), timezone.now()
        history = read_lift_history(
            actor=self.actor,
            client_uid=client_id,
            exercise_code=code,
            side=side,
            track=query["track"],
            now=now,
        )
        is_dark = query["theme"] == "dark"
        tag = picture_tag(history, format=self.picture_format, is_dark=is_dark)
        if is_known(request, f'"{tag}"'):
            return _unchanged(tag)
        drawn = draw_lift(history, format=self.picture_format, is_dark=is_dark)
        return _picture(drawn, self.picture_format, tag)


class LiftSvgView(LiftPictureView):
    picture_format = "svg"

    @extend_schema(
        operation_id="lift_picture_svg",
        parameters=[LiftPictureQuery],
        responses={(200, "image/svg+xml"): OpenApiTypes.STR},
    )
    def get(self, request: Request, client_id: uuid.UUID, code: str, side: str) -> HttpResponse:
        """Estimated one-repetition maximum of a lift over sixteen weeks, with its trend."""
        return self.picture(request, client_id, code, side)


class LiftPngView(LiftPictureView):
    picture_format = "png"

    @extend_schema(
        operation_id="lift_picture_png",
        parameters=[LiftPictureQuery],
        responses={(200, "image/png"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, client_id: uuid.UUID, code: str, side: str) -> HttpResponse:
        """Estimated one-repetition maximum of a lift over sixteen weeks, 720 x 520 pixels."""
        return self.picture(request, client_id, code, side)


def _picture(drawn: bytes, format: PictureFormat, tag: str) -> HttpResponse:
    return HttpResponse(drawn, content_type=MEDIA_TYPES[format], headers={"ETag": f'"{tag}"', **SAFE})


def _unchanged(tag: str) -> HttpResponse:
    return HttpResponse(status=304, headers={"ETag": f'"{tag}"'})


SITE = "clients/<uuid:client_id>/sites/<str:joint>/<str:side>/picture"
LIFT = "clients/<uuid:client_id>/lifts/<slug:code>/<str:side>/picture"
urlpatterns = [
    path(f"{SITE}.svg", SiteSvgView.as_view()),
    path(f"{SITE}.png", SitePngView.as_view()),
    path(f"{LIFT}.svg", LiftSvgView.as_view()),
    path(f"{LIFT}.png", LiftPngView.as_view()),
]
