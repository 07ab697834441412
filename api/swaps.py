"""Other exercises for the same muscles that spare a joint."""

from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedOut
from api.endpoint import Endpoint
from api.fields import CodeField, IdField, StrictSerializer
from coaching.models import MIDLINE_JOINTS, SiteSide
from coaching.operations.exercises import STRESSED_JOINTS
from coaching.operations.swap_reads import read_swaps


class SwapQuery(StrictSerializer):
    joint = CodeField(choices=STRESSED_JOINTS)
    side = CodeField(choices=SiteSide.values)
    client = IdField(required=False, help_text="Whose stress, restrictions and guarded joints count.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if (attrs["joint"] in MIDLINE_JOINTS) != (attrs["side"] == SiteSide.MIDLINE):
            raise serializers.ValidationError(
                {"side": "The spine is midline; every other joint is left or right."}, code="site"
            )
        return attrs


class StressChangeOut(serializers.Serializer[Any]):
    joint = serializers.CharField()
    before = serializers.FloatField()
    after = serializers.FloatField()


class WordChangeOut(serializers.Serializer[Any]):
    """movement_pattern, equipment, measure, joints_moved or sides_at_once, where the two differ."""

    what = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class SwapOut(serializers.Serializer[Any]):
    exercise = serializers.CharField(source="exercise.code")
    exercise_name = serializers.CharField(source="exercise.name")
    movement_pattern = serializers.CharField(source="exercise.movement_pattern")
    equipment = serializers.CharField(source="exercise.equipment")
    stress_before = serializers.FloatField(
        source="swap.stress_before", help_text="Of the joint to be spared."
    )
    stress_after = serializers.FloatField(source="swap.stress_after")
    share_kept = serializers.FloatField(
        source="swap.share_kept", help_text="Of the muscle roles, direct 1 and indirect 0.5."
    )
    direct_lost = serializers.ListField(child=serializers.CharField(), source="swap.direct_lost")
    indirect_lost = serializers.ListField(child=serializers.CharField(), source="swap.indirect_lost")
    direct_gained = serializers.ListField(child=serializers.CharField(), source="swap.direct_gained")
    indirect_gained = serializers.ListField(child=serializers.CharField(), source="swap.indirect_gained")
    other_stress = serializers.FloatField(
        source="swap.other_stress", help_text="Sum over the client's other guarded joints."
    )
    stress_changes = StressChangeOut(many=True, source="swap.stress_changes")
    word_changes = WordChangeOut(many=True, source="swap.word_changes")
    reasons = serializers.ListField(child=serializers.CharField())


class SwapsOut(serializers.Serializer[Any]):
    exercise = serializers.CharField(source="exercise.code")
    exercise_name = serializers.CharField(source="exercise.name")
    joint = serializers.CharField()
    side = serializers.CharField()
    stress_now = serializers.FloatField(help_text="Coach judgement, like every joint stress.")
    swaps = SwapOut(many=True, source="entries", help_text="Best first.")
    left_out = serializers.ListField(
        child=serializers.CharField(), help_text="Codes that would fit, but a restriction of today forbids."
    )
    guarded = serializers.ListField(
        child=serializers.CharField(), help_text="The client's other guarded joints, minded in the ranking."
    )
    sentence = serializers.CharField()
    computed = ComputedOut()


class SwapsView(Endpoint):
    query = SwapQuery

    @extend_schema(operation_id="swap_list", responses={200: SwapsOut})
    def get(self, request: Request, code: str) -> Response:
        """Exercises with the same direct muscles and less stress on the site, and what would be lost.

        Least stress on the joint comes first, then most of the muscle roles kept, then least stress on the
        client's other guarded joints. A client who asks gets their own.
        """
        asked = self.asked
        found = read_swaps(
            actor=self.actor,
            code=code,
            joint=asked["joint"],
            side=asked["side"],
            client_uid=asked.get("client"),
            now=timezone.now(),
        )
        return Response(SwapsOut(found).data)


urlpatterns = [path("exercises/<slug:code>/swaps", SwapsView.as_view())]
