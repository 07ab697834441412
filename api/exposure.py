"""What a client's sites have tolerated, and how left and right compare."""

import uuid
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedOut
from api.endpoint import Endpoint
from coaching.operations.exposure_reads import read_side_differences, read_tolerated_exposure


class ToleratedSiteOut(serializers.Serializer[Any]):
    """Weeks are seven local days; there is one for every day, so they overlap."""

    joint = serializers.CharField()
    side = serializers.CharField()
    most_done = serializers.FloatField(
        allow_null=True, help_text="Most joint reps of any seven days, whatever followed."
    )
    highest = serializers.FloatField(
        allow_null=True, help_text="Most joint reps of a week that a quiet week followed; null: none known."
    )
    highest_until_on = serializers.DateField(allow_null=True, help_text="Last day of the newest such week.")
    repeated = serializers.FloatField(
        allow_null=True, help_text="What two such weeks without a day in common both reached."
    )
    repeated_until_on = serializers.DateField(allow_null=True)
    last_7_days = serializers.FloatField(help_text="Joint reps of the newest seven days.")
    first_on = serializers.DateField(allow_null=True, help_text="First day of which anything is known.")
    days_of_history = serializers.IntegerField()
    weeks = serializers.IntegerField(help_text="With joint reps, and seven days after them.")
    quiet_weeks = serializers.IntegerField()
    not_quiet_weeks = serializers.IntegerField()
    unknown_weeks = serializers.IntegerField()
    separate_quiet_weeks = serializers.IntegerField(help_text="Of which no two have a day in common.")
    not_quiet_within_highest = serializers.IntegerField(
        help_text="Weeks of no more joint reps than the highest that were not followed by quiet."
    )
    sentence = serializers.CharField()


class ToleratedExposureOut(serializers.Serializer[Any]):
    computed = ComputedOut()
    sites = ToleratedSiteOut(many=True)


class SideDifferenceOut(serializers.Serializer[Any]):
    """Right less left; null where a side has no value in the window."""

    difference = serializers.FloatField(
        allow_null=True, help_text="Of e1RM in percent of the larger side, of pain in points."
    )
    low = serializers.FloatField(allow_null=True, help_text="Limits of the 95 % interval.")
    high = serializers.FloatField(allow_null=True)
    noise = serializers.FloatField(
        allow_null=True, help_text="How far apart two equal sides would be seen by noise alone."
    )
    is_within_noise = serializers.BooleanField(allow_null=True)
    left = serializers.FloatField(allow_null=True, help_text="Level in kilograms, or points.")
    right = serializers.FloatField(allow_null=True)
    n_left = serializers.IntegerField()
    n_right = serializers.IntegerField()
    sentence = serializers.CharField()


class LiftSidesOut(serializers.Serializer[Any]):
    exercise = serializers.CharField()
    exercise_name = serializers.CharField()
    track = serializers.CharField()
    e1rm = SideDifferenceOut()


class JointSidesOut(serializers.Serializer[Any]):
    joint = serializers.CharField()
    pain = SideDifferenceOut()


class SideDifferencesOut(serializers.Serializer[Any]):
    computed = ComputedOut()
    lifts = LiftSidesOut(many=True)
    joints = JointSidesOut(many=True)


class ToleratedExposureView(Endpoint):
    @extend_schema(operation_id="tolerated_exposure_get", responses={200: ToleratedExposureOut})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """The weekly joint reps of each site that quiet weeks have followed, from the last 365 days.

        A week is followed by quiet if neither in it nor in the seven days after it pain reached the limit, no
        morning after was worse than usual, and the median did not climb. It is no advice to reach it.
        """
        found = read_tolerated_exposure(actor=self.actor, client_uid=client_id, now=timezone.now())
        return Response(ToleratedExposureOut(found).data)


class SideDifferencesView(Endpoint):
    @extend_schema(operation_id="side_difference_list", responses={200: SideDifferencesOut})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """Right against left of the last 84 days: e1RM of one-sided lifts, pain of each joint.

        Nothing is evened out: plans, loads and advice of both sides stay as they are.
        """
        found = read_side_differences(actor=self.actor, client_uid=client_id, now=timezone.now())
        return Response(SideDifferencesOut(found).data)


urlpatterns = [
    path("clients/<uuid:client_id>/tolerated-exposure", ToleratedExposureView.as_view()),
    path("clients/<uuid:client_id>/side-differences", SideDifferencesView.as_view()),
]
