"""The practice itself: how long it keeps what, and closing it."""

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import DayField, StrictSerializer, WholeField
from api.permissions import IsCoach, IsOwner
from api.sign_in import PasswordField, address_of
from coaching.models import Practice
from coaching.operations.closing import close_practice
from coaching.operations.retention import practice_of, update_practice


class PracticePatch(StrictSerializer):
    keeps_clients_years = WholeField(
        min_value=1,
        max_value=100,
        required=False,
        allow_null=True,
        help_text="Clients are erased this long after they were archived, or last heard of; null: never.",
    )
    keeps_audit_years = WholeField(
        min_value=1, max_value=100, required=False, allow_null=True, help_text="The trail; null: for ever."
    )
    keeps_sent_mail_days = WholeField(
        min_value=3, max_value=3650, required=False, allow_null=True, help_text="Mail that was sent."
    )
    keeps_tombstones_days = WholeField(
        min_value=90,
        max_value=9999,
        required=False,
        allow_null=True,
        help_text="How long what was erased answers 410, so that a late device cannot bring it back.",
    )


class PracticePeriodsOut(serializers.Serializer[Practice]):
    id = serializers.UUIDField(source="uid")
    name = serializers.CharField()
    keeps_clients_years = serializers.IntegerField(allow_null=True)
    keeps_audit_years = serializers.IntegerField(allow_null=True)
    keeps_sent_mail_days = serializers.IntegerField(allow_null=True)
    keeps_tombstones_days = serializers.IntegerField(allow_null=True)
    version = serializers.IntegerField()


class PracticeView(Endpoint):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="practice_get", responses={200: PracticePeriodsOut})
    def get(self, request: Request) -> Response:
        practice = practice_of(self.actor)
        return with_etag(PracticePeriodsOut(practice).data, practice.version)

    @extend_schema(operation_id="practice_update", request=PracticePatch, responses={200: PracticePeriodsOut})
    def patch(self, request: Request) -> Response:
        """How long what is kept; the owner says, and the night after deletes what is over."""
        practice = update_practice(
            actor=self.actor,
            expected_version=self.expected_version(),
            changes=self.checked(PracticePatch, is_patch=True),
            now=timezone.now(),
        )
        return with_etag(PracticePeriodsOut(practice).data, practice.version)

    def shown(self, record: Practice) -> Shown:
        practice = practice_of(self.actor)
        return Shown(practice.version, PracticePeriodsOut(practice).data)


class ClosingPracticeIn(StrictSerializer):
    current_password = PasswordField()
    keep_until_on = DayField(
        required=False, help_text="The last day of the data, 30 days to ten years on; 90 days if left out."
    )


class ClosedPracticeOut(serializers.Serializer[Practice]):
    id = serializers.UUIDField(source="uid")
    closed_at = serializers.DateTimeField()
    keep_until_on = serializers.DateField()


class PracticeClosingView(Endpoint):
    permission_classes = [IsAuthenticated, IsOwner]

    @extend_schema(
        operation_id="practice_close", request=ClosingPracticeIn, responses={200: ClosedPracticeOut}
    )
    def post(self, request: Request) -> Response:
        """Close the practice: every device and service token ends, yours too; no nights, no mail.

        Owners may sign in again to read and export until the last day; then all of it is deleted for good.
        """
        body = self.checked(ClosingPracticeIn)
        practice = close_practice(
            actor=self.actor,
            password=body["current_password"],
            address=address_of(request),
            keep_until_on=body.get("keep_until_on"),
            now=timezone.now(),
        )
        return Response(ClosedPracticeOut(practice).data)


urlpatterns = [
    path("practice", PracticeView.as_view()),
    path("practice/closing", PracticeClosingView.as_view()),
]
