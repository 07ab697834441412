"""Plans: written by coaches, edited as new versions, readable by every coach of the practice."""

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
from api.fields import CodeField, FlagField, NumberField, StrictSerializer, TextField, WholeField, WithOwnId
from api.listing import ListQuery
from api.permissions import IsCoach
from coaching.models import DEFAULT_LEVERS, Actor, BlockKind, EffortTarget, Lever, LoadRule, Plan, SetSide
from coaching.operations.plans import archive_plan, keep_plan, rewrite_plan
from coaching.reads.plans import (
    BlockContent,
    DayContent,
    PlanContent,
    PrescriptionContent,
    WarmUpStep,
    current_version,
    plan_for,
    plan_version,
    plans_of,
)

MAX_WEEKS = 104
MAX_DAYS = 14
MAX_BLOCKS = 20
MAX_PRESCRIPTIONS = 10
MAX_SETS = 50
MAX_REPS = 1000
MAX_DURATION_S = 7200
MAX_REST_S = 3600
MAX_WARM_UP_STEPS = 8
MAX_ALTERNATIVES = 8


class WarmUpStepIn(StrictSerializer):
    share_of_work_load = NumberField(min_value=0.1, max_value=0.99)
    reps = WholeField(min_value=1, max_value=20)
    rest_s = WholeField(min_value=0, max_value=MAX_REST_S, help_text="After this step.")


class PrescriptionIn(StrictSerializer):
    exercise = TextField(max_length=60, help_text="The exercise's code.")
    side = CodeField(choices=SetSide.values, default=SetSide.BOTH)
    sets = WholeField(min_value=1, max_value=MAX_SETS)
    reps_low = WholeField(min_value=1, max_value=MAX_REPS, allow_null=True, default=None)
    reps_high = WholeField(min_value=1, max_value=MAX_REPS, allow_null=True, default=None)
    duration_s = WholeField(min_value=1, max_value=MAX_DURATION_S, allow_null=True, default=None)
    effort_target = CodeField(choices=EffortTarget.values)
    rir_target = NumberField(min_value=0, max_value=10, step=0.5, allow_null=True, default=None)
    load_rule = CodeField(choices=LoadRule.values)
    load_kg = NumberField(min_value=0, max_value=1000, allow_null=True, default=None)
    share_of_1rm = NumberField(min_value=0.05, max_value=1.1, allow_null=True, default=None)
    tempo = TextField(
        max_length=12,
        allow_blank=True,
        default="",
        help_text="Seconds, like 3-1-1-0 or 3110; X is explosive.",
    )
    rest_s = WholeField(
        min_value=0,
        max_value=MAX_REST_S,
        allow_null=True,
        default=None,
        help_text=(
            "Null takes the rest of the block; between the halves of a back-to-back block null is 0, no rest."
        ),
    )
    has_warm_up_ramp = FlagField(default=False)
    warm_up_steps = serializers.ListField(
        child=WarmUpStepIn(),
        max_length=MAX_WARM_UP_STEPS,
        default=list,
        help_text=(
            "The coach's own ramp, lightest step first. With has_warm_up_ramp and no steps: 5 reps at 50 %, "
            "3 at 70 % and 1 at 95 % of the work load, 30 s apart."
        ),
    )
    alternatives = serializers.ListField(
        child=TextField(max_length=60),
        max_length=MAX_ALTERNATIVES,
        default=list,
        help_text="Codes of exercises the client may do instead, the best first.",
    )


class BlockIn(StrictSerializer):
    kind = CodeField(choices=BlockKind.values)
    rest_s = WholeField(min_value=0, max_value=MAX_REST_S, default=120)
    levers = serializers.ListField(
        child=CodeField(choices=Lever.values),
        max_length=len(Lever),
        required=False,
        help_text=(
            "What may be made harder, in this order; an empty list lets nothing move by itself. Left out: "
            "reps, load for straight_sets; reps, load, second_half_load for back_to_back."
        ),
    )
    prescriptions = serializers.ListField(
        child=PrescriptionIn(), allow_empty=False, max_length=MAX_PRESCRIPTIONS
    )


class DayIn(StrictSerializer):
    weekday = WholeField(min_value=0, max_value=6, help_text="0 is Monday.")
    name = TextField(max_length=80)
    blocks = serializers.ListField(child=BlockIn(), allow_empty=False, max_length=MAX_BLOCKS)


class PlanIn(StrictSerializer):
    name = TextField(max_length=120)
    weeks = WholeField(min_value=1, max_value=MAX_WEEKS)
    deload_weeks = serializers.ListField(
        child=WholeField(), max_length=MAX_WEEKS, default=list, help_text="Counted from 1."
    )
    days = serializers.ListField(child=DayIn(), allow_empty=False, max_length=MAX_DAYS)


class NewPlanIn(PlanIn, WithOwnId):
    pass


class WarmUpStepOut(serializers.Serializer[Any]):
    share_of_work_load = serializers.FloatField()
    reps = serializers.IntegerField()
    rest_s = serializers.IntegerField()


class ExerciseCodeOut(serializers.CharField):
    """The code of an alternative, out of its row."""

    def to_representation(self, value: Any) -> str:
        return str(value.exercise.code)


class PrescriptionOut(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="uid")
    exercise = serializers.CharField(source="exercise.code")
    exercise_name = serializers.CharField(source="exercise.name")
    side = serializers.CharField()
    sets = serializers.IntegerField()
    reps_low = serializers.IntegerField(allow_null=True)
    reps_high = serializers.IntegerField(allow_null=True)
    duration_s = serializers.IntegerField(allow_null=True)
    effort_target = serializers.CharField()
    rir_target = serializers.FloatField(allow_null=True)
    load_rule = serializers.CharField()
    load_kg = serializers.FloatField(allow_null=True)
    share_of_1rm = serializers.FloatField(allow_null=True)
    tempo = serializers.CharField()
    rest_s = serializers.IntegerField(allow_null=True)
    has_warm_up_ramp = serializers.BooleanField()
    warm_up_steps = WarmUpStepOut(many=True)
    alternatives = serializers.ListField(child=ExerciseCodeOut(), source="alternatives.all")


class BlockOut(serializers.Serializer[Any]):
    kind = serializers.CharField()
    rest_s = serializers.IntegerField()
    levers = serializers.ListField(child=serializers.CharField())
    prescriptions = PrescriptionOut(many=True)


class DayOut(serializers.Serializer[Any]):
    weekday = serializers.IntegerField()
    name = serializers.CharField()
    blocks = BlockOut(many=True)


class PlanSummaryOut(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="uid")
    name = serializers.CharField()
    author_name = serializers.CharField(source="author.name", default=None, allow_null=True)
    version = serializers.IntegerField()
    created_at = serializers.DateTimeField()


class PlanOut(serializers.Serializer[Any]):
    """A plan with the content of one of its versions."""

    id = serializers.UUIDField(source="plan.uid")
    name = serializers.CharField(source="plan.name")
    author_name = serializers.CharField(source="plan.author.name", default=None, allow_null=True)
    version = serializers.IntegerField(source="number")
    created_at = serializers.DateTimeField()
    archived_at = serializers.DateTimeField(source="plan.archived_at", allow_null=True)
    weeks = serializers.IntegerField()
    deload_weeks = serializers.ListField(child=serializers.IntegerField())
    days = DayOut(many=True)


class PlansQuery(ListQuery):
    orders = ("created_at", "name")


class PlansView(Endpoint):
    query = PlansQuery
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="plan_list", responses={200: PlanSummaryOut(many=True)})
    def get(self, request: Request) -> Response:
        """A page of the practice's plans in use, without their content."""
        return self.page(plans_of(self.actor), lambda plan: PlanSummaryOut(plan).data)

    @extend_schema(operation_id="plan_create", request=NewPlanIn, responses={200: PlanOut, 201: PlanOut})
    def post(self, request: Request) -> Response:
        """Write a plan; it starts at version 1."""
        body = self.checked(NewPlanIn)
        kept = keep_plan(
            actor=self.actor, content=plan_content(body), own_uid=body.get("id"), now=timezone.now()
        )
        status = 201 if kept.is_new else 200
        return with_etag(PlanOut(kept.row).data, kept.row.number, status=status)

    def shown(self, record: Plan) -> Shown:
        return shown_plan(self.actor, record)


class PlanView(Endpoint):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="plan_get", responses={200: PlanOut})
    def get(self, request: Request, plan_id: uuid.UUID) -> Response:
        """A plan with the content of its current version."""
        version = current_version(plan_for(self.actor, plan_id))
        return with_etag(PlanOut(version).data, version.number)

    @extend_schema(operation_id="plan_replace", request=PlanIn, responses={200: PlanOut})
    def put(self, request: Request, plan_id: uuid.UUID) -> Response:
        """Make the plan's next version; the same content again makes none. Author or owner, with If-Match."""
        plan_for(self.actor, plan_id)
        version = rewrite_plan(
            actor=self.actor,
            plan_uid=plan_id,
            content=plan_content(self.checked(PlanIn)),
            expected_version=self.named_version(),
            now=timezone.now(),
        )
        return with_etag(PlanOut(version).data, version.number)

    @extend_schema(operation_id="plan_archive", responses={204: None})
    def delete(self, request: Request, plan_id: uuid.UUID) -> Response:
        """Take the plan out of use; what was assigned from it goes on. Author or owner, with If-Match."""
        plan_for(self.actor, plan_id)
        archive_plan(
            actor=self.actor, plan_uid=plan_id, expected_version=self.expected_version(), now=timezone.now()
        )
        return Response(status=204)

    def shown(self, record: Plan) -> Shown:
        return shown_plan(self.actor, record)


def shown_plan(actor: Actor, record: Plan) -> Shown:
    version = current_version(plan_for(actor, record.uid))
    return Shown(version.number, PlanOut(version).data)


class PlanVersionView(Endpoint):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="plan_version_get", responses={200: PlanOut})
    def get(self, request: Request, plan_id: uuid.UUID, number: int) -> Response:
        """A plan with the content of one of its versions, as it was frozen."""
        version = plan_version(plan_for(self.actor, plan_id), min(number, MAX_VERSION))
        return with_etag(PlanOut(version).data, version.number)


MAX_VERSION = 2**31 - 1


def plan_content(checked: dict[str, Any]) -> PlanContent:
    """The validated body as the plan it describes."""
    return PlanContent(
        name=checked["name"],
        weeks=checked["weeks"],
        deload_weeks=tuple(checked["deload_weeks"]),
        days=tuple(_day(day) for day in checked["days"]),
    )


def _day(checked: dict[str, Any]) -> DayContent:
    return DayContent(checked["weekday"], checked["name"], tuple(_block(row) for row in checked["blocks"]))


def _block(checked: dict[str, Any]) -> BlockContent:
    levers = checked.get("levers", DEFAULT_LEVERS[checked["kind"]])
    prescriptions = tuple(_prescription(row) for row in checked["prescriptions"])
    return BlockContent(checked["kind"], checked["rest_s"], tuple(levers), prescriptions)


def _prescription(checked: dict[str, Any]) -> PrescriptionContent:
    steps = tuple(WarmUpStep(**step) for step in checked["warm_up_steps"])
    alternatives = tuple(checked["alternatives"])
    return PrescriptionContent(**checked | {"warm_up_steps": steps, "alternatives": alternatives})


urlpatterns = [
    path("plans", PlansView.as_view()),
    path("plans/<uuid:plan_id>", PlanView.as_view()),
    path("plans/<uuid:plan_id>/versions/<int:number>", PlanVersionView.as_view()),
]
