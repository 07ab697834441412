"""The injury history of a client, and the restrictions that follow from it."""

import uuid

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import CodeField, DayField, StrictSerializer, TextField, WholeField, WithOwnId
from api.listing import DatedListQuery, ListQuery
from coaching.models import Actor, Injury, InjuryStatus, Joint, Restriction, RestrictionKind, SaidBy, SiteSide
from coaching.operations.injuries import (
    InjuryJudgement,
    InjuryReport,
    read_injuries,
    read_injury,
    report_injury,
    update_injury,
)
from coaching.operations.restrictions import (
    RestrictionContent,
    add_restriction,
    drop_restriction,
    read_restrictions,
)

MAX_WEEKLY_JOINT_REPS = 100_000


class InjuriesQuery(ListQuery):
    status = CodeField(choices=InjuryStatus.values, required=False)
    joint = CodeField(choices=Joint.values, required=False)
    side = CodeField(choices=SiteSide.values, required=False)


class RestrictionsQuery(DatedListQuery):
    orders = ("from_on",)

    kind = CodeField(choices=RestrictionKind.values, required=False)
    said_by = CodeField(choices=SaidBy.values, required=False)


class InjuryReportIn(StrictSerializer):
    """What a client says about an injury of their own."""

    joint = CodeField(choices=Joint.values)
    side = CodeField(choices=SiteSide.values)
    other_site = TextField(
        max_length=80, required=False, allow_blank=True, help_text="Where, with the joint other."
    )
    onset_on = DayField(required=False, allow_null=True)
    said = TextField(max_length=2000, is_multiline=True, help_text="What was said, in their own words.")


class InjuryJudgementIn(StrictSerializer):
    """What only a coach may add."""

    said_by = CodeField(choices=SaidBy.values, required=False)
    status = CodeField(choices=InjuryStatus.values, required=False)
    cautions = TextField(max_length=2000, is_multiline=True, required=False, allow_blank=True)
    weekly_joint_reps_cap = WholeField(
        min_value=0, max_value=MAX_WEEKLY_JOINT_REPS, required=False, allow_null=True
    )
    pain_limit = WholeField(min_value=1, max_value=10, required=False, allow_null=True)


class InjuryPatch(InjuryReportIn, InjuryJudgementIn):
    """A coach's entry; `said_by` is coach unless it says otherwise."""


class InjuryIn(InjuryPatch, WithOwnId):
    """A coach's entry; `said_by` is coach unless it says otherwise."""


class InjuryOfOwnIn(InjuryReportIn, WithOwnId):
    """A client's entry."""


class InjuryOut(serializers.Serializer[Injury]):
    id = serializers.UUIDField(source="uid")
    joint = serializers.ChoiceField(choices=Joint.values)
    side = serializers.ChoiceField(choices=SiteSide.values)
    other_site = serializers.CharField()
    onset_on = serializers.DateField(allow_null=True)
    said = serializers.CharField()
    said_by = serializers.ChoiceField(choices=SaidBy.values)
    status = serializers.ChoiceField(choices=InjuryStatus.values)
    cautions = serializers.CharField()
    weekly_joint_reps_cap = serializers.IntegerField(allow_null=True)
    pain_limit = serializers.IntegerField(allow_null=True)
    created_at = serializers.DateTimeField()
    version = serializers.IntegerField()


class RestrictionIn(WithOwnId):
    kind = CodeField(choices=RestrictionKind.values)
    exercise = TextField(max_length=60, required=False, help_text="A code, with the kind avoid_exercise.")
    movement_pattern = TextField(max_length=30, required=False, help_text="With the kind avoid_pattern.")
    limit = TextField(max_length=200, required=False, help_text="In words, with the kind limit.")
    from_on = DayField()
    until_on = DayField(required=False, allow_null=True)
    said_by = CodeField(choices=SaidBy.values)


class RestrictionOut(serializers.Serializer[Restriction]):
    id = serializers.UUIDField(source="uid")
    injury = serializers.UUIDField(source="injury.uid")
    kind = serializers.ChoiceField(choices=RestrictionKind.values)
    exercise = serializers.CharField(source="exercise.code", default=None, allow_null=True)
    movement_pattern = serializers.CharField()
    limit = serializers.CharField()
    from_on = serializers.DateField()
    until_on = serializers.DateField(allow_null=True)
    said_by = serializers.ChoiceField(choices=SaidBy.values)


class InjuriesView(Endpoint):
    query = InjuriesQuery

    @extend_schema(operation_id="injury_list", responses={200: InjuryOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """The injury history, newest entry first."""
        rows = read_injuries(actor=self.actor, client_uid=client_id, now=timezone.now())
        return self.page(rows, lambda row: InjuryOut(row).data)

    @extend_schema(operation_id="injury_create", request=InjuryIn, responses={200: InjuryOut, 201: InjuryOut})
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """A client says where, since when and what; the rest is a coach's to fill."""
        body = self.checked(InjuryIn if self.actor.is_coach else InjuryOfOwnIn)
        own_uid = body.pop("id", None)
        judged = {key: body.pop(key) for key in list(body) if key in InjuryJudgementIn().fields}
        kept = report_injury(
            actor=self.actor,
            client_uid=client_id,
            report=InjuryReport(**body),
            judgement=InjuryJudgement(**judged) if judged else None,
            now=timezone.now(),
            own_uid=own_uid,
        )
        status = 201 if kept.is_new else 200
        return with_etag(InjuryOut(kept.row).data, kept.row.version, status=status)

    def shown(self, record: Injury) -> Shown:
        return shown_injury(self.actor, self.kwargs["client_id"], record)


class InjuryView(Endpoint):
    @extend_schema(operation_id="injury_get", responses={200: InjuryOut})
    def get(self, request: Request, client_id: uuid.UUID, injury_id: uuid.UUID) -> Response:
        injury = read_injury(actor=self.actor, client_uid=client_id, injury_uid=injury_id, now=timezone.now())
        return with_etag(InjuryOut(injury).data, injury.version)

    @extend_schema(operation_id="injury_update", request=InjuryPatch, responses={200: InjuryOut})
    def patch(self, request: Request, client_id: uuid.UUID, injury_id: uuid.UUID) -> Response:
        injury = update_injury(
            actor=self.actor,
            client_uid=client_id,
            injury_uid=injury_id,
            expected_version=self.expected_version(),
            changes=self.checked(InjuryPatch, is_patch=True),
            now=timezone.now(),
        )
        return with_etag(InjuryOut(injury).data, injury.version)

    def shown(self, record: Injury) -> Shown:
        return shown_injury(self.actor, self.kwargs["client_id"], record)


def shown_injury(actor: Actor, client_uid: uuid.UUID, record: Injury) -> Shown:
    injury = read_injury(actor=actor, client_uid=client_uid, injury_uid=record.uid, now=timezone.now())
    return Shown(injury.version, InjuryOut(injury).data)


class RestrictionsView(Endpoint):
    query = RestrictionsQuery

    @extend_schema(operation_id="restriction_list", responses={200: RestrictionOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID, injury_id: uuid.UUID) -> Response:
        rows = read_restrictions(
            actor=self.actor, client_uid=client_id, injury_uid=injury_id, now=timezone.now()
        )
        return self.page(rows, lambda row: RestrictionOut(row).data)

    @extend_schema(
        operation_id="restriction_create",
        request=RestrictionIn,
        responses={200: RestrictionOut, 201: RestrictionOut},
    )
    def post(self, request: Request, client_id: uuid.UUID, injury_id: uuid.UUID) -> Response:
        body = self.checked(RestrictionIn)
        own_uid = body.pop("id", None)
        kept = add_restriction(
            actor=self.actor,
            client_uid=client_id,
            injury_uid=injury_id,
            content=RestrictionContent(exercise_code=body.pop("exercise", ""), **body),
            now=timezone.now(),
            own_uid=own_uid,
        )
        return Response(RestrictionOut(kept.row).data, status=201 if kept.is_new else 200)

    def shown(self, record: Restriction) -> Shown:
        return Shown(None, RestrictionOut(record).data)


class RestrictionView(Endpoint):
    @extend_schema(operation_id="restriction_delete", responses={204: None})
    def delete(
        self, request: Request, client_id: uuid.UUID, injury_id: uuid.UUID, restriction_id: uuid.UUID
    ) -> Response:
        """Restrictions are never edited, so there is no version to name: take one back and add another."""
        drop_restriction(
            actor=self.actor,
            client_uid=client_id,
            injury_uid=injury_id,
            restriction_uid=restriction_id,
            now=timezone.now(),
        )
        return Response(status=204)


urlpatterns = [
    path("clients/<uuid:client_id>/injuries", InjuriesView.as_view()),
    path("clients/<uuid:client_id>/injuries/<uuid:injury_id>", InjuryView.as_view()),
    path("clients/<uuid:client_id>/injuries/<uuid:injury_id>/restrictions", RestrictionsView.as_view()),
    path(
        "clients/<uuid:client_id>/injuries/<uuid:injury_id>/restrictions/<uuid:restriction_id>",
        RestrictionView.as_view(),
    ),
]
