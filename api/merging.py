"""Two records of one person made one."""

import uuid

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.clients import ClientOut, shown_client
from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import IdField, StrictSerializer
from api.permissions import IsOwner
from coaching.models import Client
from coaching.operations.merging import merge_clients


class MergingIn(StrictSerializer):
    duplicate = IdField(help_text="The record that ends; what it has goes to the one in the address.")


class MergingView(Endpoint):
    permission_classes = [IsAuthenticated, IsOwner]

    @extend_schema(operation_id="client_merge", request=MergingIn, responses={200: ClientOut})
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """Give this record all that a duplicate of the same person has; there is no way back. Needs If-Match.

        Every session, report and note keeps its id; the duplicate answers 410 from then on. What both say
        and say differently is refused with 409 and a sentence.
        """
        version = self.expected_version()
        client = merge_clients(
            actor=self.actor,
            client_uid=client_id,
            duplicate_uid=self.checked(MergingIn)["duplicate"],
            expected_version=version,
            now=timezone.now(),
        )
        return with_etag(ClientOut(client).data, client.version)

    def shown(self, record: Client) -> Shown:
        return shown_client(self.actor, record)


urlpatterns = [path("clients/<uuid:client_id>/merging", MergingView.as_view())]
