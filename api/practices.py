"""The practice itself: closing it."""

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import DayField, StrictSerializer
from api.permissions import IsOwner
from api.sign_in import PasswordField, address_of
from coaching.models import Practice
from coaching.operations.closing import close_practice


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


urlpatterns = [path("practice/closing", PracticeClosingView.as_view())]
