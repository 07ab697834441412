"""Service tokens: what a program of the practice may do, until when, and whose clients it sees."""

import uuid
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import CodeField, IdField, InstantField, StrictSerializer, TextField
from api.listing import ListQuery
from api.permissions import IsOwner
from coaching.models import ServiceScope, ServiceToken
from coaching.operations.service_tokens import (
    NewServiceToken,
    ServiceTokenContent,
    make_service_token,
    revoke_service_token,
)
from coaching.reads.service_tokens import service_tokens_of

MAX_COACHES = 200
SCOPES_HELP = "; ".join(f"`{scope.value}`: {scope.label}" for scope in ServiceScope)


class ServiceTokenIn(StrictSerializer):
    name = TextField(max_length=80, help_text="What it is for; the trail names it.")
    scopes = serializers.ListField(
        child=CodeField(choices=ServiceScope.values),
        min_length=1,
        max_length=len(ServiceScope.values),
        help_text=SCOPES_HELP,
    )
    expires_at = InstantField(help_text="Within a year.")
    coaches = serializers.ListField(
        child=IdField(),
        required=False,
        allow_null=True,
        min_length=1,
        max_length=MAX_COACHES,
        help_text="The memberships whose clients it may see; left out or null: the whole practice.",
    )


class ServiceTokenOut(serializers.Serializer[ServiceToken]):
    id = serializers.UUIDField(source="uid")
    name = serializers.CharField()
    scopes = serializers.ListField(child=serializers.ChoiceField(choices=ServiceScope.values))
    coaches = serializers.SerializerMethodField(help_text="Whose clients it sees; null: the whole practice.")
    made_by = serializers.CharField(
        source="made_by.account.name", help_text="It ends once this person is no owner any more."
    )
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    last_used_at = serializers.DateTimeField(allow_null=True, help_text="To ten minutes.")

    def get_coaches(self, row: ServiceToken) -> list[uuid.UUID] | None:
        return None if row.sees_all_clients else [coach.uid for coach in row.coaches.all()]


class NewServiceTokenOut(serializers.Serializer[NewServiceToken]):
    service_token = ServiceTokenOut(source="row")
    token = serializers.CharField(help_text="Send it as `Authorization: Bearer ...`; it is shown once.")


class ServiceTokensView(Endpoint):
    query = ListQuery
    permission_classes = [IsAuthenticated, IsOwner]

    @extend_schema(operation_id="service_token_list", responses={200: ServiceTokenOut(many=True)})
    def get(self, request: Request) -> Response:
        """Those that nobody has revoked, newest first; never the token itself."""
        return self.page(service_tokens_of(self.actor), lambda row: ServiceTokenOut(row).data)

    @extend_schema(
        operation_id="service_token_create", request=ServiceTokenIn, responses={201: NewServiceTokenOut}
    )
    def post(self, request: Request) -> Response:
        """A token for a dashboard or another program; it may do what its scopes name, and no more."""
        body: dict[str, Any] = self.checked(ServiceTokenIn)
        coaches = body.get("coaches")
        content = ServiceTokenContent(
            name=body["name"],
            scopes=tuple(body["scopes"]),
            expires_at=body["expires_at"],
            coach_uids=None if coaches is None else tuple(coaches),
        )
        made = make_service_token(actor=self.actor, content=content, now=timezone.now())
        return Response(NewServiceTokenOut(made).data, status=201)


class ServiceTokenView(Endpoint):
    permission_classes = [IsAuthenticated, IsOwner]

    @extend_schema(operation_id="service_token_delete", responses={204: None})
    def delete(self, request: Request, token_id: uuid.UUID) -> Response:
        """It opens nothing any more, from the next request on."""
        revoke_service_token(actor=self.actor, token_uid=token_id, now=timezone.now())
        return Response(status=204)


urlpatterns = [
    path("service-tokens", ServiceTokensView.as_view()),
    path("service-tokens/<uuid:token_id>", ServiceTokenView.as_view()),
]
