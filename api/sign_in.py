"""Signing in and out, devices, the password, and invitations."""

import unicodedata
import uuid
from typing import Any

from django.conf import settings
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import CodeField, IdField, StrictSerializer, TextField
from api.permissions import IsCoach
from coaching.models import Role
from coaching.operations import devices, invitations
from coaching.operations.device_proofs import proof_of
from coaching.operations.devices import SignedIn
from coaching.operations.passwords import MAX_PASSWORD_CHARACTERS
from coaching.operations.sign_in import change_password, sign_in
from coaching.reads.devices import devices_of

MAX_TOKEN_CHARACTERS = 200


class PasswordField(serializers.CharField):
    """A password exactly as typed, spaces included; NFC, so that it is the same from every keyboard."""

    def __init__(self) -> None:
        super().__init__(max_length=MAX_PASSWORD_CHARACTERS, trim_whitespace=False, write_only=True)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(unicodedata.normalize("NFC", data))


class CodeOfFactorField(TextField):
    """Six digits of the authenticator app, or a recovery code."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            max_length=40,
            help_text="Of the second factor: six digits, or a recovery code; for an account that has one.",
            **kwargs,
        )


class SignInIn(StrictSerializer):
    email = TextField(max_length=254)
    password = PasswordField()
    device_name = TextField(max_length=80)
    practice = IdField(required=False, help_text="Only needed by an account in several practices.")
    code = CodeOfFactorField(required=False)
    device_proof = TextField(
        max_length=300,
        required=False,
        help_text="What an earlier sign-in on this device answered: its tries are counted by themselves, so "
        "that nobody who guesses at the account locks it out.",
    )


class PasswordIn(StrictSerializer):
    current_password = PasswordField()
    new_password = PasswordField()


class InvitationIn(StrictSerializer):
    role = CodeField(choices=[Role.COACH, Role.CLIENT])
    email = TextField(max_length=254)
    client = IdField(required=False, help_text="Whom the account is for; only with the role client.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if (attrs["role"] == Role.CLIENT) != ("client" in attrs):
            raise serializers.ValidationError(
                {"client": ["Name the client with the role client, and only then."]}, code="client_and_role"
            )
        return attrs


class AcceptIn(StrictSerializer):
    token = TextField(max_length=MAX_TOKEN_CHARACTERS)
    name = TextField(max_length=120, required=False, help_text="Needed by a coach's new account.")
    password = PasswordField()
    code = CodeOfFactorField(required=False)
    device_name = TextField(max_length=80)


class AccountOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    email = serializers.EmailField()
    name = serializers.CharField()
    has_second_factor = serializers.BooleanField()


class PracticeOut(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="uid")
    name = serializers.CharField()
    zone = serializers.CharField()
    country = serializers.CharField()
    emergency_text = serializers.CharField()


class MeOut(serializers.Serializer[Any]):
    """Who the bearer of a device token is."""

    account = AccountOut(source="user")
    practice = PracticeOut()
    role = serializers.CharField(
        source="membership.role", default=Role.CLIENT, help_text="owner, coach or client."
    )
    membership = serializers.UUIDField(source="membership.uid", default=None, allow_null=True)
    client = serializers.UUIDField(source="client.uid", default=None, allow_null=True)
    device = serializers.UUIDField(source="uid")
    expires_at = serializers.DateTimeField(source="expiry")


class SignedInOut(serializers.Serializer[Any]):
    token = serializers.CharField(help_text="Send it as `Authorization: Bearer ...`; it is shown once.")
    me = MeOut(source="device")
    device_proof = serializers.SerializerMethodField(
        help_text="Keep it, also after signing out, and send it with the next sign-in. It opens nothing."
    )

    def get_device_proof(self, signed_in: SignedIn) -> str:
        return proof_of(signed_in.device)


class DeviceOut(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="uid")
    device_name = serializers.CharField()
    practice = serializers.UUIDField(source="practice.uid")
    practice_name = serializers.CharField(source="practice.name")
    signed_in_at = serializers.DateTimeField(source="created")
    last_used_at = serializers.DateTimeField(allow_null=True)
    expires_at = serializers.DateTimeField(source="expiry")


class DevicesOut(serializers.Serializer[Any]):
    items = DeviceOut(many=True)


class InvitationOut(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="invitation.uid")
    role = serializers.CharField(source="invitation.role")
    email = serializers.EmailField(source="invitation.email")
    client = serializers.UUIDField(source="invitation.client.uid", default=None, allow_null=True)
    expires_at = serializers.DateTimeField(source="invitation.expires_at")
    token = serializers.CharField(help_text="Pass it on to the invited person; it is shown once.")


class PublicEndpoint(Endpoint):
    """For those who have no token yet."""

    authentication_classes = []
    permission_classes = [AllowAny]

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        answer = super().finalize_response(request, response, *args, **kwargs)
        if answer.status_code == 401:
            answer["WWW-Authenticate"] = "Bearer"
        return answer


class SignInView(PublicEndpoint):
    @extend_schema(operation_id="sign_in", auth=[], request=SignInIn, responses={200: SignedInOut})
    def post(self, request: Request) -> Response:
        body = self.checked(SignInIn)
        signed_in = sign_in(
            email=body["email"],
            password=body["password"],
            device_name=body["device_name"],
            practice_uid=body.get("practice"),
            address=address_of(request),
            now=timezone.now(),
            code=body.get("code", ""),
            device_proof=body.get("device_proof", ""),
        )
        return Response(SignedInOut(signed_in).data)


class SignOutView(Endpoint):
    is_of_the_device = True

    @extend_schema(operation_id="sign_out", request=None, responses={204: None})
    def post(self, request: Request) -> Response:
        devices.sign_out(actor=self.actor, now=timezone.now())
        return Response(status=204)


class DevicesView(Endpoint):
    is_of_the_device = True

    @extend_schema(operation_id="device_list", responses={200: DevicesOut})
    def get(self, request: Request) -> Response:
        found = devices_of(self.actor, timezone.now())
        return Response({"items": DeviceOut(found, many=True).data})

    @extend_schema(operation_id="device_sign_out_everywhere", responses={204: None})
    def delete(self, request: Request) -> Response:
        devices.sign_out_everywhere(actor=self.actor, now=timezone.now())
        return Response(status=204)


class DeviceView(Endpoint):
    is_of_the_device = True

    @extend_schema(operation_id="device_sign_out", responses={204: None})
    def delete(self, request: Request, device_id: uuid.UUID) -> Response:
        devices.sign_out_device(actor=self.actor, device_uid=device_id, now=timezone.now())
        return Response(status=204)


class MeView(Endpoint):
    @extend_schema(operation_id="me_get", responses={200: MeOut})
    def get(self, request: Request) -> Response:
        return Response(MeOut(request.auth).data)


class PasswordView(Endpoint):
    is_of_the_device = True

    @extend_schema(operation_id="password_change", request=PasswordIn, responses={204: None})
    def put(self, request: Request) -> Response:
        body = self.checked(PasswordIn)
        change_password(
            actor=self.actor,
            current=body["current_password"],
            new=body["new_password"],
            address=address_of(request),
            now=timezone.now(),
        )
        return Response(status=204)


class InvitationsView(Endpoint):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="invitation_create", request=InvitationIn, responses={201: InvitationOut})
    def post(self, request: Request) -> Response:
        body = self.checked(InvitationIn)
        now = timezone.now()
        if body["role"] == Role.CLIENT:
            made = invitations.invite_client(
                actor=self.actor, client_uid=body["client"], email=body["email"], now=now
            )
        else:
            made = invitations.invite_coach(actor=self.actor, email=body["email"], now=now)
        return Response(InvitationOut(made).data, status=201)


class AcceptView(PublicEndpoint):
    @extend_schema(operation_id="invitation_accept", auth=[], request=AcceptIn, responses={201: SignedInOut})
    def post(self, request: Request) -> Response:
        body = self.checked(AcceptIn)
        signed_in = invitations.accept_invitation(
            token=body["token"],
            name=body.get("name", ""),
            password=body["password"],
            device_name=body["device_name"],
            address=address_of(request),
            now=timezone.now(),
            code=body.get("code", ""),
        )
        return Response(SignedInOut(signed_in).data, status=201)


def address_of(request: Request) -> str:
    """The caller's network address; behind our proxy it is the last one that the proxy has added."""
    forwarded = str(request.META.get("HTTP_X_FORWARDED_FOR", ""))
    if settings.SECURE_PROXY_SSL_HEADER is not None and forwarded:
        return forwarded.rsplit(",", 1)[-1].strip()
    return str(request.META.get("REMOTE_ADDR", ""))


urlpatterns = [
    path("sign-in", SignInView.as_view()),
    path("sign-out", SignOutView.as_view()),
    path("devices", DevicesView.as_view()),
    path("devices/<uuid:device_id>", DeviceView.as_view()),
    path("me", MeView.as_view()),
    path("me/password", PasswordView.as_view()),
    path("invitations", InvitationsView.as_view()),
    path("invitations/accept", AcceptView.as_view()),
]
