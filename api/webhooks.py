"""Webhooks: the addresses that are told of alerts, their secrets, and what became of each delivery."""

import uuid
from datetime import timedelta
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import CodeField, FlagField, StrictSerializer, TextField, WholeField
from api.listing import ListQuery
from api.permissions import IsOwner
from coaching.exchange.public_addresses import MAX_LENGTH, RefusedAddressError, check_callable
from coaching.models import TEST_EVENT, OutboxState, SwitchedOff, Webhook, WebhookDelivery, WebhookEvent
from coaching.operations import webhooks
from coaching.operations.webhooks import SecretShown
from coaching.reads.webhooks import deliveries_of, webhook_for, webhooks_of

OVERLAP_AT_MOST_HOURS = 7 * 24


class CallableAddressField(TextField):
    """An address that the service could call now: public, by name, over https."""

    def to_internal_value(self, data: Any) -> str:
        address = super().to_internal_value(data)
        try:
            check_callable(address)
        except RefusedAddressError as error:
            raise serializers.ValidationError(error.detail, code=error.code) from None
        return address


class WebhookIn(StrictSerializer):
    address = CallableAddressField(
        max_length=MAX_LENGTH, help_text="https, a full domain name, port 443; no user name, no fragment."
    )
    events = serializers.ListField(
        child=CodeField(choices=WebhookEvent.values), min_length=1, max_length=len(WebhookEvent)
    )
    is_active = FlagField(default=True)

    def validate_events(self, events: list[str]) -> list[str]:
        if len(set(events)) < len(events):
            raise serializers.ValidationError("An event is named twice.", code="repeated")
        return events


class SecretIn(StrictSerializer):
    overlap_hours = WholeField(
        min_value=0,
        max_value=OVERLAP_AT_MOST_HOURS,
        help_text="How long the former secret signs along, such as 24; 0 if somebody else has learned it.",
    )


class WebhookOut(serializers.Serializer[Webhook]):
    id = serializers.UUIDField(source="uid")
    address = serializers.CharField()
    events = serializers.ListField(child=serializers.CharField())
    is_active = serializers.BooleanField()
    switched_off = serializers.ChoiceField(
        choices=SwitchedOff.values,
        allow_null=True,
        help_text="Why the service switched it off: gone (it answered 410) or failing (for five days).",
    )
    failing_since_at = serializers.DateTimeField(allow_null=True, help_text="Null while it is well.")
    former_secret_until_at = serializers.DateTimeField(
        source="former_salt_until_at", allow_null=True, help_text="Until then there are two signatures."
    )
    created_at = serializers.DateTimeField()
    version = serializers.IntegerField()

    def to_representation(self, webhook: Webhook) -> dict[str, Any]:
        body = super().to_representation(webhook)
        return body | {"switched_off": webhook.switched_off or None}


class SecretShownOut(serializers.Serializer[SecretShown]):
    webhook = WebhookOut()
    secret = serializers.CharField(help_text="whsec_ and base64; shown this once.")


class DeliveryOut(serializers.Serializer[WebhookDelivery]):
    id = serializers.UUIDField(source="uid", help_text="The webhook-id, the same at every attempt.")
    event = serializers.ChoiceField(choices=[*WebhookEvent.values, TEST_EVENT])
    alert = serializers.UUIDField(source="alert.uid", default=None, allow_null=True)
    state = serializers.ChoiceField(choices=OutboxState.values)
    attempts = serializers.IntegerField()
    status_code = serializers.IntegerField(allow_null=True, help_text="Of the last answer, if there was one.")
    error_code = serializers.CharField(help_text="What went wrong at the last attempt; empty if nothing did.")
    created_at = serializers.DateTimeField()
    next_at = serializers.SerializerMethodField(help_text="When it may be tried next; null once it is over.")
    sent_at = serializers.DateTimeField(allow_null=True)

    @extend_schema_field(serializers.DateTimeField(allow_null=True))
    def get_next_at(self, row: WebhookDelivery) -> Any:
        is_waiting = row.state == OutboxState.WAITING
        return serializers.DateTimeField().to_representation(row.next_at) if is_waiting else None


class DeliveriesQuery(ListQuery):
    state = CodeField(choices=OutboxState.values, required=False)
    event = CodeField(choices=[*WebhookEvent.values, TEST_EVENT], required=False)


class OwnerEndpoint(Endpoint):
    permission_classes = [IsAuthenticated, IsOwner]

    def shown(self, record: Webhook) -> Shown:
        webhook = webhook_for(self.actor, record.uid)
        return Shown(webhook.version, WebhookOut(webhook).data)


class WebhooksView(OwnerEndpoint):
    query = ListQuery

    @extend_schema(operation_id="webhook_list", responses={200: WebhookOut(many=True)})
    def get(self, request: Request) -> Response:
        return self.page(webhooks_of(self.actor), lambda row: WebhookOut(row).data)

    @extend_schema(operation_id="webhook_create", request=WebhookIn, responses={201: SecretShownOut})
    def post(self, request: Request) -> Response:
        """Tell an address of alerts, by ids only; ten at most. Signed as Standard Webhooks 1.0."""
        shown = webhooks.register_webhook(actor=self.actor, now=timezone.now(), **self.checked(WebhookIn))
        body = SecretShownOut(shown).data
        return with_etag(body, shown.webhook.version, status=201, shown=body["webhook"])


class WebhookView(OwnerEndpoint):
    @extend_schema(operation_id="webhook_get", responses={200: WebhookOut})
    def get(self, request: Request, webhook_id: uuid.UUID) -> Response:
        webhook = webhook_for(self.actor, webhook_id)
        return with_etag(WebhookOut(webhook).data, webhook.version)

    @extend_schema(operation_id="webhook_update", request=WebhookIn, responses={200: WebhookOut})
    def patch(self, request: Request, webhook_id: uuid.UUID) -> Response:
        """Another address, other events, on or off. What waits while it is off is not sent later."""
        webhook = webhooks.update_webhook(
            actor=self.actor,
            webhook_uid=webhook_id,
            expected_version=self.expected_version(),
            changes=self.checked(WebhookIn, is_patch=True),
            now=timezone.now(),
        )
        return with_etag(WebhookOut(webhook).data, webhook.version)

    @extend_schema(operation_id="webhook_delete", responses={204: None})
    def delete(self, request: Request, webhook_id: uuid.UUID) -> Response:
        """Nothing is sent there any more, and its deliveries are deleted."""
        webhooks.remove_webhook(
            actor=self.actor,
            webhook_uid=webhook_id,
            expected_version=self.expected_version(),
            now=timezone.now(),
        )
        return Response(status=204)


class WebhookSecretView(OwnerEndpoint):
    @extend_schema(operation_id="webhook_rotate_secret", request=SecretIn, responses={201: SecretShownOut})
    def post(self, request: Request, webhook_id: uuid.UUID) -> Response:
        """A new secret, shown this once; meanwhile each delivery is signed with both. Needs If-Match."""
        version = self.expected_version()
        shown = webhooks.rotate_secret(
            actor=self.actor,
            webhook_uid=webhook_id,
            expected_version=version,
            overlap=timedelta(hours=self.checked(SecretIn)["overlap_hours"]),
            now=timezone.now(),
        )
        body = SecretShownOut(shown).data
        return with_etag(body, shown.webhook.version, status=201, shown=body["webhook"])


class WebhookTestView(OwnerEndpoint):
    @extend_schema(operation_id="webhook_test", request=None, responses={202: DeliveryOut})
    def post(self, request: Request, webhook_id: uuid.UUID) -> Response:
        """Send an event of type webhook.test within a minute; 409 while an earlier one still waits."""
        delivery = webhooks.send_test(actor=self.actor, webhook_uid=webhook_id, now=timezone.now())
        return Response(DeliveryOut(delivery).data, status=202)


class WebhookDeliveriesView(OwnerEndpoint):
    query = DeliveriesQuery

    @extend_schema(operation_id="webhook_delivery_list", responses={200: DeliveryOut(many=True)})
    def get(self, request: Request, webhook_id: uuid.UUID) -> Response:
        """What was sent or waits, newest first, for 30 days; never what the other side answered."""
        return self.page(deliveries_of(self.actor, webhook_id), lambda row: DeliveryOut(row).data)


urlpatterns = [
    path("webhooks", WebhooksView.as_view()),
    path("webhooks/<uuid:webhook_id>", WebhookView.as_view()),
    path("webhooks/<uuid:webhook_id>/secret", WebhookSecretView.as_view()),
    path("webhooks/<uuid:webhook_id>/test", WebhookTestView.as_view()),
    path("webhooks/<uuid:webhook_id>/deliveries", WebhookDeliveriesView.as_view()),
]
