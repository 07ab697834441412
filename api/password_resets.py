"""A forgotten password: ask for a link, and set a new one with it."""

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.fields import StrictSerializer, TextField
from api.sign_in import MAX_TOKEN_CHARACTERS, PasswordField, PublicEndpoint, address_of
from coaching.operations.password_resets import accept_reset, ask_for_reset


class ResetIn(StrictSerializer):
    email = TextField(max_length=254)


class AcceptResetIn(StrictSerializer):
    token = TextField(max_length=MAX_TOKEN_CHARACTERS)
    new_password = PasswordField()


class PasswordResetsView(PublicEndpoint):
    @extend_schema(operation_id="password_reset_create", auth=[], request=ResetIn, responses={202: None})
    def post(self, request: Request) -> Response:
        """Mails a link to the account with this address. The answer is the same if there is none."""
        body = self.checked(ResetIn)
        ask_for_reset(email=body["email"], address=address_of(request), now=timezone.now())
        return Response(status=202)


class AcceptResetView(PublicEndpoint):
    @extend_schema(
        operation_id="password_reset_accept", auth=[], request=AcceptResetIn, responses={204: None}
    )
    def post(self, request: Request) -> Response:
        """Sets the password and ends every device of the account; then sign in."""
        body = self.checked(AcceptResetIn)
        accept_reset(token=body["token"], new_password=body["new_password"], now=timezone.now())
        return Response(status=204)


urlpatterns = [
    path("password-resets", PasswordResetsView.as_view()),
    path("password-resets/accept", AcceptResetView.as_view()),
]
