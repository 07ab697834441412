"""A plan with one client in mind, before it is assigned; nothing is stored."""

import uuid
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedOut
from api.endpoint import Endpoint
from api.fields import DayField, IdField, StrictSerializer, WholeField
from api.permissions import IsCoach
from api.plans import MAX_VERSION
from coaching.operations.plan_previews import PreviewQuestion, read_plan_preview
from coaching.reads.plan_preview import PlanPreview


class PreviewIn(StrictSerializer):
    client = IdField()
    version = WholeField(
        min_value=1,
        max_value=MAX_VERSION,
        allow_null=True,
        default=None,
        help_text="Of the plan; null: the current one.",
    )
    starts_on = DayField(allow_null=True, default=None, help_text="Null: today where the client lives.")
    compare_with = IdField(allow_null=True, default=None, help_text="Another plan to set beside this one.")


class KnownField(serializers.FloatField):
    """A number, or null where it is not known."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(allow_null=True, **kwargs)

    def to_representation(self, value: Any) -> Any:
        return None if value != value else super().to_representation(value)


class PreviewToleratedOut(serializers.Serializer[Any]):
    most_done = serializers.FloatField(allow_null=True)
    highest = serializers.FloatField(allow_null=True)
    repeated = serializers.FloatField(allow_null=True)
    separate_quiet_weeks = serializers.IntegerField()
    days_of_history = serializers.IntegerField()
    sentence = serializers.CharField()


class PreviewSiteOut(serializers.Serializer[Any]):
    """A joint site in an ordinary week of the plan."""

    joint = serializers.CharField(source="dose.joint")
    side = serializers.CharField(source="dose.side")
    is_guarded = serializers.BooleanField(help_text="It has an active injury, a cap or a pain limit.")
    joint_reps = serializers.FloatField(
        source="dose.joint_reps", help_text="At the high end of every range, warm-up ramps included."
    )
    known_joint_load_kg = serializers.FloatField(
        source="dose.known_joint_load_kg", help_text="Of the work whose load is known today."
    )
    unknown_load_share = serializers.FloatField(
        source="dose.unknown_load_share", help_text="Share of the joint reps whose load is not known, 0 to 1."
    )
    cap = serializers.IntegerField(allow_null=True, help_text="Lowest weekly cap of the site's injuries.")
    cap_injury = serializers.UUIDField(
        source="cap_injury.uid", default=None, allow_null=True, help_text="The entry that says so."
    )
    ratio_to_cap = serializers.FloatField(allow_null=True)
    tolerated = PreviewToleratedOut()
    ratio_to_repeated = serializers.FloatField(
        allow_null=True, help_text="Of what more than one week was followed by quiet."
    )
    flags = serializers.ListField(
        child=serializers.CharField(),
        help_text="over_cap, stopped_by_clinician, above_highest, above_repeated, no_history.",
    )
    sentence = serializers.CharField()


class AvoidOut(serializers.Serializer[Any]):
    """A place in the plan that a restriction speaks against."""

    exercise = serializers.CharField(source="exercise.code")
    exercise_name = serializers.CharField(source="exercise.name")
    is_alternative = serializers.BooleanField(help_text="Not prescribed, but for the client to choose.")
    kind = serializers.CharField(source="restriction.kind")
    movement_pattern = serializers.CharField(source="restriction.movement_pattern")
    from_on = serializers.DateField(source="restriction.from_on")
    until_on = serializers.DateField(source="restriction.until_on", allow_null=True)
    said_by = serializers.CharField(source="restriction.said_by")
    restriction = serializers.UUIDField(source="restriction.uid")
    injury = serializers.UUIDField(source="restriction.injury.uid")
    day = serializers.IntegerField(source="day.position", help_text="Place in the plan, counted from 0.")
    day_name = serializers.CharField(source="day.name")
    block = serializers.IntegerField(help_text="Place in the day, counted from 0.")
    prescription = serializers.UUIDField(source="prescription.uid")
    first_due_on = serializers.DateField(help_text="First day of the plan on which it holds.")


class ConcernOut(serializers.Serializer[Any]):
    code = serializers.CharField(help_text="over_cap, stopped_by_clinician or restricted.")
    detail = serializers.CharField()


class PreviewMuscleOut(serializers.Serializer[Any]):
    """Hard sets a week; an indirect muscle gets half of each."""

    muscle = serializers.CharField()
    left = serializers.FloatField()
    right = serializers.FloatField()
    verdict = serializers.CharField(
        allow_null=True,
        help_text="below, within, above or below_and_above (the sides differ); null: no floor, no ceiling.",
    )


class PreviewDayOut(serializers.Serializer[Any]):
    """Minutes from repetitions, tempo and rests; a general warm-up, talk and waiting are not in them."""

    day = serializers.IntegerField(source="day.position")
    weekday = serializers.IntegerField(source="day.weekday")
    name = serializers.CharField(source="day.name")
    low_min = serializers.FloatField()
    high_min = serializers.FloatField()


class ComparedMuscleOut(serializers.Serializer[Any]):
    """Hard sets a week, the mean of both sides; `sides_apart` is the larger difference of the two sides."""

    muscle = serializers.CharField()
    a = serializers.FloatField()
    b = serializers.FloatField()
    difference = serializers.FloatField()
    sides_apart = serializers.FloatField()


class ComparedSiteOut(serializers.Serializer[Any]):
    joint = serializers.CharField()
    side = serializers.CharField()
    joint_reps_a = serializers.FloatField()
    joint_reps_b = serializers.FloatField()
    joint_reps_ratio = KnownField(help_text="b over a; null where a asks nothing.")
    joint_load_a_kg = KnownField(help_text="Null where a load is not known.")
    joint_load_b_kg = KnownField()
    joint_load_ratio = KnownField()
    is_same = serializers.BooleanField()


class ComparisonOut(serializers.Serializer[Any]):
    """Two plans side by side, a this one and b the other: what is asked, not what is better."""

    plan_b = serializers.UUIDField(source="compared_with.plan.uid")
    plan_b_name = serializers.CharField(source="compared_with.plan.name")
    plan_b_version = serializers.IntegerField(source="compared_with.number")
    statement = serializers.CharField(source="comparison.statement")
    is_same_hard_sets = serializers.BooleanField(source="comparison.is_same_hard_sets")
    is_same_joint_reps = serializers.BooleanField(source="comparison.is_same_joint_reps")
    muscles = ComparedMuscleOut(many=True, source="comparison.muscles")
    sites = ComparedSiteOut(many=True, source="comparison.sites")


class PreviewOut(serializers.Serializer[Any]):
    """What an ordinary week of the plan would ask of this client."""

    computed = ComputedOut(help_text="Of sums, hard sets, minutes and the comparison, as known today.")
    tolerated_computed = ComputedOut(help_text="Of what the sites have tolerated.")
    plan = serializers.UUIDField(source="version.plan.uid")
    plan_name = serializers.CharField(source="version.plan.name")
    plan_version = serializers.IntegerField(source="version.number")
    starts_on = serializers.DateField()
    weeks = serializers.IntegerField(source="version.weeks")
    deload_weeks = serializers.ListField(
        child=serializers.IntegerField(),
        source="version.deload_weeks",
        help_text="Marked as light; the sums are those of an ordinary week.",
    )
    needs_override_reason = serializers.BooleanField(
        help_text="Whether assigning it as it stands needs an override_reason."
    )
    concerns = ConcernOut(many=True)
    sites = PreviewSiteOut(many=True)
    avoid = AvoidOut(many=True)
    weekly_sets_floor = serializers.FloatField(allow_null=True, help_text="Of the coach who asks.")
    weekly_sets_ceiling = serializers.FloatField(allow_null=True)
    muscles = PreviewMuscleOut(many=True)
    work_sets = serializers.IntegerField(help_text="A one-sided set of each side is two.")
    sets_of_unknown_effort = serializers.IntegerField(help_text="Which count as hard for no muscle.")
    days = PreviewDayOut(many=True)
    comparison = serializers.SerializerMethodField()

    @extend_schema_field(ComparisonOut(allow_null=True))
    def get_comparison(self, preview: PlanPreview) -> Any:
        return None if preview.comparison is None else ComparisonOut(preview).data


class PlanPreviewView(Endpoint):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(operation_id="plan_preview", request=PreviewIn, responses={200: PreviewOut})
    def post(self, request: Request, plan_id: uuid.UUID) -> Response:
        """What the plan would ask of a client: joints, what to avoid, muscles, minutes.

        Nothing is stored. 409 while a red flag of the client stands, as with assigning. Loads are those known
        today. It says what is asked, and nothing about the chance of an injury.
        """
        asked = self.checked(PreviewIn)
        found = read_plan_preview(
            actor=self.actor,
            plan_uid=plan_id,
            question=PreviewQuestion(client_uid=asked.pop("client"), **asked),
            now=timezone.now(),
        )
        return Response(PreviewOut(found).data)


urlpatterns = [path("plans/<uuid:plan_id>/preview", PlanPreviewView.as_view())]
