"""The second factor of the account that asks: begun, confirmed with a code, removed."""

from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import StrictSerializer
from api.sign_in import CodeOfFactorField, PasswordField, address_of
from coaching.operations.second_factor_setup import (
    begin_second_factor,
    confirm_second_factor,
    remove_second_factor,
)


class BeginIn(StrictSerializer):
    current_password = PasswordField()


class ConfirmIn(StrictSerializer):
    code = CodeOfFactorField()


class RemoveIn(StrictSerializer):
    current_password = PasswordField()
    code = CodeOfFactorField()


class NewFactorOut(serializers.Serializer[Any]):
    secret = serializers.CharField(help_text="For an authenticator app, by hand; shown once.")
    address = serializers.CharField(help_text="The same as an otpauth address, to be shown as a QR code.")


class RecoveryOut(serializers.Serializer[Any]):
    recovery_codes = serializers.ListField(
        child=serializers.CharField(), help_text="Each opens the account once, without the phone; shown once."
    )


class SecondFactorView(Endpoint):
    @extend_schema(operation_id="second_factor_create", request=BeginIn, responses={201: NewFactorOut})
    def post(self, request: Request) -> Response:
        """A secret for an authenticator app (RFC 6238). Sign-in asks for codes once it is confirmed."""
        body = self.checked(BeginIn)
        made = begin_second_factor(
            actor=self.actor,
            current_password=body["current_password"],
            address=address_of(request),
            now=timezone.now(),
        )
        return Response(NewFactorOut(made).data, status=201)


class ConfirmationView(Endpoint):
    @extend_schema(operation_id="second_factor_confirm", request=ConfirmIn, responses={200: RecoveryOut})
    def post(self, request: Request) -> Response:
        """The first code from the app proves that it has the secret."""
        code = self.checked(ConfirmIn)["code"]
        codes = confirm_second_factor(actor=self.actor, code=code, now=timezone.now())
        return Response({"recovery_codes": codes})


class RemovalView(Endpoint):
    @extend_schema(operation_id="second_factor_delete", request=RemoveIn, responses={204: None})
    def post(self, request: Request) -> Response:
        body = self.checked(RemoveIn)
        remove_second_factor(
            actor=self.actor,
            current_password=body["current_password"],
            code=body["code"],
            address=address_of(request),
            now=timezone.now(),
        )
        return Response(status=204)


urlpatterns = [
    path("me/second-factor", SecondFactorView.as_view()),
    path("me/second-factor/confirmation", ConfirmationView.as_view()),
    path("me/second-factor/removal", RemovalView.as_view()),
]
