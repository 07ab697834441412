"""Clients: their record, body mass, consents and audit trail."""

import uuid
from datetime import date

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import (
    CodeField,
    DayField,
    FlagField,
    IdField,
    NumberField,
    StrictSerializer,
    TextField,
    WithOwnId,
)
from api.listing import DatedListQuery, ListQuery
from coaching.models import (
    Actor,
    AuditEvent,
    BodyMass,
    Client,
    Consent,
    ConsentPurpose,
    LoadUnit,
    ProgressionRule,
    TrainingStatus,
)
from coaching.operations.audit_reads import read_trail
from coaching.operations.body_masses import read_body_mass, read_body_masses, record_body_mass
from coaching.operations.clients import (
    ClientContent,
    create_client,
    read_client,
    read_clients,
    update_client,
)
from coaching.operations.consents import give_consent, read_consent, read_consents, withdraw_consent
from coaching.reads.audit import TrailFilter

FIRST_BIRTH = date(1900, 1, 1)


class ClientsQuery(ListQuery):
    orders = ("name",)
    narrowed_by_read = frozenset({"archived"})

    archived = CodeField(choices=["true", "false"], default="false")
    coach = IdField(required=False, help_text="A membership.")
    training_status = CodeField(choices=TrainingStatus.values, required=False)


class BodyMassesQuery(DatedListQuery):
    orders = ("measured_on",)


class ConsentsQuery(ListQuery):
    orders = ("given_at",)

    purpose = CodeField(choices=ConsentPurpose.values, required=False)


class AuditQuery(DatedListQuery):
    """Days on the client's calendar."""

    orders = ("at",)
    narrowed_by_read = frozenset({"from", "until", "record_kind"})

    action = TextField(max_length=40, required=False)
    record_kind = TextField(max_length=30, required=False)


class ClientIn(StrictSerializer):
    """Zone, country and emergency text follow the practice where they are left out."""

    name = TextField(max_length=120)
    zone = TextField(max_length=64, required=False)
    country = TextField(max_length=2, required=False)
    emergency_text = TextField(max_length=200, required=False, allow_blank=True)
    birth_on = DayField(earliest=FIRST_BIRTH, required=False, allow_null=True)
    guardian = TextField(max_length=200, required=False, allow_blank=True, help_text="Needed by a minor.")
    emergency_contact = TextField(max_length=200, required=False, allow_blank=True)
    training_status = CodeField(choices=TrainingStatus.values, required=False)
    training_status_on = DayField(required=False, allow_null=True)
    progression_rule = CodeField(
        choices=ProgressionRule.values,
        required=False,
        help_text=(
            "When the next load is due: double_progression, or two_for_two for cautious clients. The coach's."
        ),
    )
    load_unit = CodeField(
        choices=LoadUnit.values, required=False, help_text="What next loads are told in; coach or client."
    )
    private_note = TextField(
        max_length=2000,
        required=False,
        allow_blank=True,
        is_multiline=True,
        help_text="For coaches only; never shown to the client.",
    )
    coach = IdField(required=False, help_text="A membership; only the owner names another than themselves.")


class NewClientIn(ClientIn, WithOwnId):
    pass


class ClientPatch(ClientIn):
    archived = FlagField(required=False)


class ClientLineOut(serializers.Serializer[Client]):
    """A client in a list: enough to find them."""

    id = serializers.UUIDField(source="uid")
    name = serializers.CharField()
    coach = serializers.UUIDField(source="coach.uid")
    coach_name = serializers.CharField(source="coach.account.name")
    last_posted_at = serializers.DateTimeField(allow_null=True)
    archived_at = serializers.DateTimeField(allow_null=True)


class OwnRecordOut(ClientLineOut):
    """What a client sees of their own record."""

    zone = serializers.CharField()
    country = serializers.CharField()
    emergency_text = serializers.CharField()
    birth_on = serializers.DateField(allow_null=True)
    guardian = serializers.CharField()
    emergency_contact = serializers.CharField()
    training_status = serializers.ChoiceField(choices=TrainingStatus.values)
    training_status_on = serializers.DateField(allow_null=True)
    progression_rule = serializers.ChoiceField(choices=ProgressionRule.values)
    load_unit = serializers.ChoiceField(choices=LoadUnit.values)
    created_at = serializers.DateTimeField()
    version = serializers.IntegerField()


class ClientOut(OwnRecordOut):
    """What a coach sees."""

    private_note = serializers.CharField()
    has_account = serializers.SerializerMethodField()

    def get_has_account(self, client: Client) -> bool:
        return client.account_id is not None


CLIENT_RECORD = PolymorphicProxySerializer(
    component_name="ClientRecordOut", serializers=[ClientOut, OwnRecordOut], resource_type_field_name=None
)


class BodyMassIn(StrictSerializer):
    measured_on = DayField()
    body_mass_kg = NumberField(min_value=10, max_value=400)


class BodyMassOut(serializers.Serializer[BodyMass]):
    measured_on = serializers.DateField()
    body_mass_kg = serializers.FloatField()
    version = serializers.IntegerField()


class ConsentIn(StrictSerializer):
    text_version = TextField(max_length=40, help_text="Which text the client agreed to.")


class ConsentOut(serializers.Serializer[Consent]):
    purpose = serializers.ChoiceField(choices=ConsentPurpose.values)
    text_version = serializers.CharField()
    given_at = serializers.DateTimeField()
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()
    recorded_by = serializers.SerializerMethodField(help_text="The client, or a coach on their behalf.")

    def get_recorded_by(self, consent: Consent) -> str:
        account_id = consent.client.account_id
        return "client" if account_id is not None and consent.recorded_by_id == account_id else "coach"


class AuditEventOut(serializers.Serializer[AuditEvent]):
    at = serializers.DateTimeField()
    who = serializers.CharField(
        allow_null=True, help_text="Null for the service itself or an erased account."
    )
    device_name = serializers.CharField(
        allow_null=True,
        help_text="Or the name of the service token. Only the owner sees other people's devices. Null too "
        "once the device is signed out.",
    )
    action = serializers.CharField()
    record_kind = serializers.CharField()
    record_id = serializers.CharField(source="shown_id")


class ClientsView(Endpoint):
    query = ClientsQuery

    @extend_schema(operation_id="client_list", responses={200: ClientLineOut(many=True)})
    def get(self, request: Request) -> Response:
        """The clients you may see, newest first; those who have left with archived=true."""
        is_archived = self.asked["archived"] == "true"
        rows = read_clients(actor=self.actor, is_archived=is_archived, now=timezone.now())
        return self.page(rows, lambda row: ClientLineOut(row).data)

    @extend_schema(
        operation_id="client_create", request=NewClientIn, responses={200: ClientOut, 201: ClientOut}
    )
    def post(self, request: Request) -> Response:
        """Add a client; you become their coach unless you are the owner and name one."""
        body = self.checked(NewClientIn)
        content = ClientContent(coach_uid=body.pop("coach", None), own_uid=body.pop("id", None), **body)
        kept = create_client(actor=self.actor, content=content, now=timezone.now())
        status = 201 if kept.is_new else 200
        return with_etag(ClientOut(kept.row).data, kept.row.version, status=status)

    def shown(self, record: Client) -> Shown:
        return shown_client(self.actor, record)


class ClientView(Endpoint):
    @extend_schema(operation_id="client_get", responses={200: CLIENT_RECORD})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """One record; a client sees their own without the coach's private note."""
        client = read_client(actor=self.actor, client_uid=client_id, now=timezone.now())
        return with_etag(self._shape(client).data, client.version)

    @extend_schema(operation_id="client_update", request=ClientPatch, responses={200: CLIENT_RECORD})
    def patch(self, request: Request, client_id: uuid.UUID) -> Response:
        """Edit, archive, or (owner only) hand over to another coach; a client may set load_unit alone."""
        client = update_client(
            actor=self.actor,
            client_uid=client_id,
            expected_version=self.expected_version(),
            changes=self.checked(ClientPatch, is_patch=True),
            now=timezone.now(),
        )
        return with_etag(self._shape(client).data, client.version)

    def shown(self, record: Client) -> Shown:
        return shown_client(self.actor, record)

    def _shape(self, client: Client) -> OwnRecordOut:
        return client_shape(self.actor, client)


def client_shape(actor: Actor, client: Client) -> OwnRecordOut:
    return ClientOut(client) if actor.is_coach else OwnRecordOut(client)


def shown_client(actor: Actor, record: Client) -> Shown:
    client = read_client(actor=actor, client_uid=record.uid, now=timezone.now())
    return Shown(client.version, client_shape(actor, client).data)


class BodyMassesView(Endpoint):
    query = BodyMassesQuery

    @extend_schema(operation_id="body_mass_list", responses={200: BodyMassOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        rows = read_body_masses(actor=self.actor, client_uid=client_id, now=timezone.now())
        return self.page(rows, lambda row: BodyMassOut(row).data)

    @extend_schema(
        operation_id="body_mass_create",
        request=BodyMassIn,
        responses={201: BodyMassOut, 200: BodyMassOut},
    )
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """One value a day; another for the same day corrects it with If-Match, else 409."""
        recorded = record_body_mass(
            actor=self.actor,
            client_uid=client_id,
            now=timezone.now(),
            expected_version=self.named_version(),
            **self.checked(BodyMassIn),
        )
        row, status = recorded.body_mass, 201 if recorded.is_new else 200
        return with_etag(BodyMassOut(row).data, row.version, status=status)

    def shown(self, record: BodyMass) -> Shown:
        row = read_body_mass(
            actor=self.actor,
            client_uid=self.kwargs["client_id"],
            measured_on=record.measured_on,
            now=timezone.now(),
        )
        return Shown(row.version, BodyMassOut(row).data)


class ConsentsView(Endpoint):
    query = ConsentsQuery

    @extend_schema(operation_id="consent_list", responses={200: ConsentOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        rows = read_consents(actor=self.actor, client_uid=client_id, now=timezone.now())
        return self.page(rows, lambda row: ConsentOut(row).data)


class ConsentView(Endpoint):
    @extend_schema(operation_id="consent_get", responses={200: ConsentOut})
    def get(self, request: Request, client_id: uuid.UUID, purpose: str) -> Response:
        """The latest consent for this purpose, standing or withdrawn."""
        consent = read_consent(actor=self.actor, client_uid=client_id, purpose=purpose, now=timezone.now())
        return with_etag(ConsentOut(consent).data, consent.version)

    @extend_schema(
        operation_id="consent_give", request=ConsentIn, responses={201: ConsentOut, 200: ConsentOut}
    )
    def put(self, request: Request, client_id: uuid.UUID, purpose: str) -> Response:
        """Given by the client, or recorded by a coach for them; a new text replaces the earlier.

        Once one was given, another text, or the same after a withdrawal, needs If-Match, else 409: what a
        device sends late must not undo a withdrawal.
        """
        given = give_consent(
            actor=self.actor,
            client_uid=client_id,
            purpose=purpose,
            text_version=self.checked(ConsentIn)["text_version"],
            now=timezone.now(),
            expected_version=self.named_version(),
        )
        consent, status = given.consent, 201 if given.is_new else 200
        return with_etag(ConsentOut(consent).data, consent.version, status=status)

    @extend_schema(operation_id="consent_withdraw", responses={204: None})
    def delete(self, request: Request, client_id: uuid.UUID, purpose: str) -> Response:
        """From now on nothing more is stored for this purpose. If-Match may be left out here."""
        withdraw_consent(
            actor=self.actor,
            client_uid=client_id,
            purpose=purpose,
            now=timezone.now(),
            expected_version=self.named_version(),
        )
        return Response(status=204)

    def shown(self, record: Consent) -> Shown:
        consent = read_consent(
            actor=self.actor,
            client_uid=self.kwargs["client_id"],
            purpose=record.purpose,
            now=timezone.now(),
        )
        return Shown(consent.version, ConsentOut(consent).data)


class AuditView(Endpoint):
    query = AuditQuery

    @extend_schema(operation_id="audit_event_list", responses={200: AuditEventOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """Who read or changed this client's records, newest first; reading this is on the trail as well."""
        wanted = TrailFilter(*map(self.asked.get, ("from", "until", "record_kind")))
        rows = read_trail(actor=self.actor, client_uid=client_id, wanted=wanted, now=timezone.now())
        return self.page(rows, lambda row: AuditEventOut(row).data)


urlpatterns = [
    path("clients", ClientsView.as_view()),
    path("clients/<uuid:client_id>", ClientView.as_view()),
    path("clients/<uuid:client_id>/body-masses", BodyMassesView.as_view()),
    path("clients/<uuid:client_id>/consents", ConsentsView.as_view()),
    path("clients/<uuid:client_id>/consents/<str:purpose>", ConsentView.as_view()),
    path("clients/<uuid:client_id>/audit", AuditView.as_view()),
]
