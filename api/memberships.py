"""The members of a practice: absence, cover, and leaving."""

import uuid
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import CodeField, DayField, FlagField, IdField, NumberField, StrictSerializer
from api.listing import ListQuery
from api.permissions import IsCoach
from coaching.models import Membership, Role
from coaching.operations.memberships import leave_practice, update_membership
from coaching.reads.memberships import members_of, membership_for

MAX_WEEKLY_SETS = 100


class MembershipsQuery(ListQuery):
    orders = ("joined_at",)

    role = CodeField(choices=[Role.OWNER, Role.COACH], required=False)


class MembershipPatch(StrictSerializer):
    role = CodeField(
        choices=[Role.OWNER, Role.COACH],
        required=False,
        help_text="Set by owners: so ownership is shared or passed on. The last owner stays one.",
    )
    away_from_on = DayField(required=False, allow_null=True)
    away_until_on = DayField(required=False, allow_null=True)
    cover = IdField(
        required=False, allow_null=True, help_text="The membership that sees the clients meanwhile."
    )
    wants_digest = FlagField(required=False, help_text="Urgent mail comes whatever this says.")
    weekly_sets_floor = NumberField(
        min_value=0,
        max_value=MAX_WEEKLY_SETS,
        step=0.5,
        required=False,
        allow_null=True,
        help_text="The fewest hard sets a week for a muscle, in this coach's judgement; null sets none.",
    )
    weekly_sets_ceiling = NumberField(
        min_value=0,
        max_value=MAX_WEEKLY_SETS,
        step=0.5,
        required=False,
        allow_null=True,
        help_text="The most hard sets a week for a muscle, in this coach's judgement; null sets none.",
    )


class SuccessorField(IdField):
    """A membership's id, or the word owner."""

    def to_internal_value(self, data: Any) -> Any:
        return data if data == "owner" else super().to_internal_value(data)


class LeaveQuery(StrictSerializer):
    hand_over_to = SuccessorField(required=False, help_text="A membership's id, or `owner` for yourself.")


class MembershipOut(serializers.Serializer[Membership]):
    id = serializers.UUIDField(source="uid")
    name = serializers.CharField(source="account.name")
    email = serializers.EmailField(source="account.email")
    role = serializers.CharField(help_text="owner or coach.")
    joined_at = serializers.DateTimeField()
    away_from_on = serializers.DateField(allow_null=True)
    away_until_on = serializers.DateField(allow_null=True)
    cover = serializers.UUIDField(source="cover.uid", default=None, allow_null=True)
    wants_digest = serializers.BooleanField()
    weekly_sets_floor = serializers.FloatField(allow_null=True)
    weekly_sets_ceiling = serializers.FloatField(allow_null=True)
    version = serializers.IntegerField()


class MembershipsView(Endpoint):
    query = MembershipsQuery
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="membership_list", responses={200: MembershipOut(many=True)})
    def get(self, request: Request) -> Response:
        return self.page(members_of(self.actor), lambda row: MembershipOut(row).data)


class MembershipView(Endpoint):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="membership_get", responses={200: MembershipOut})
    def get(self, request: Request, membership_id: uuid.UUID) -> Response:
        member = membership_for(self.actor, membership_id)
        return with_etag(MembershipOut(member).data, member.version)

    @extend_schema(operation_id="membership_update", request=MembershipPatch, responses={200: MembershipOut})
    def patch(self, request: Request, membership_id: uuid.UUID) -> Response:
        """Your own absence, cover, digest and weekly sets; the owner may set them for anybody."""
        member = update_membership(
            actor=self.actor,
            membership_uid=membership_id,
            expected_version=self.expected_version(),
            changes=self.checked(MembershipPatch, is_patch=True),
            now=timezone.now(),
        )
        return with_etag(MembershipOut(member).data, member.version)

    @extend_schema(operation_id="membership_end", parameters=[LeaveQuery], responses={204: None})
    def delete(self, request: Request, membership_id: uuid.UUID) -> Response:
        """The coach leaves the practice, on every device at once; refused while nobody has their clients."""
        leave_practice(
            actor=self.actor,
            membership_uid=membership_id,
            expected_version=self.expected_version(),
            hand_over_to=self.checked_query(LeaveQuery).get("hand_over_to"),
            now=timezone.now(),
        )
        return Response(status=204)

    def shown(self, record: Membership) -> Shown:
        member = membership_for(self.actor, record.uid)
        return Shown(member.version, MembershipOut(member).data)


urlpatterns = [
    path("memberships", MembershipsView.as_view()),
    path("memberships/<uuid:membership_id>", MembershipView.as_view()),
]
