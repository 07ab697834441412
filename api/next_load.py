"""Next load over HTTP: what to do in a scheduled session, set by set, and why."""

import uuid
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedOut
from api.endpoint import Endpoint
from coaching.operations.scheduled_sessions import read_next_session
from coaching.reads.loads import exact_kg
from coaching.reads.next_load import (
    REASON_CODES,
    NextBlock,
    NextPrescription,
    NextSession,
    SiteGate,
)


@extend_schema_field({"type": "string", "pattern": r"^\d+(\.\d+)?$"})
class ExactKgField(serializers.Field[Any, Any, str | None, Any]):
    """Kilograms as an exact decimal text."""

    def to_representation(self, value: Any) -> str:
        return exact_kg(value)


class WarmUpSetOut(serializers.Serializer[Any]):
    load = serializers.SerializerMethodField(help_text="In the client's unit.")
    load_unit = serializers.CharField()
    load_kg = ExactKgField(help_text="The same in exact kilograms.")
    reps = serializers.IntegerField()
    rest_s = serializers.IntegerField()

    def get_load(self, row: Any) -> float:
        return float(row.load_thousandths / 1000)


class AdviceOut(serializers.Serializer[Any]):
    """Numbers are null where no advice is given; the reasons say why."""

    load = serializers.SerializerMethodField(help_text="In the client's unit; null: find it, as it says.")
    load_unit = serializers.CharField(allow_null=True)
    load_kg = ExactKgField(allow_null=True, help_text="The same in exact kilograms.")
    sets_left = serializers.IntegerField(
        source="sets",
        allow_null=True,
        help_text="Work sets still to do; one-sided work of both sides counts a set of each.",
    )
    reps_low = serializers.IntegerField(allow_null=True)
    reps_high = serializers.IntegerField(allow_null=True)
    reps_aim = serializers.IntegerField(
        allow_null=True,
        help_text="Aim at it in every set; above reps_high only where more repetitions come before a step.",
    )
    duration_s = serializers.IntegerField(allow_null=True)
    rir_target = serializers.FloatField(allow_null=True, help_text="Repetitions to leave in reserve.")
    tempo = serializers.CharField()
    rest_s = serializers.IntegerField(allow_null=True)
    lever = serializers.CharField(
        allow_null=True, help_text="The one that moves: reps, load, second_half_load, time, tempo; or none."
    )
    reasons = serializers.ListField(child=serializers.ChoiceField(choices=REASON_CODES))
    sentence = serializers.CharField()

    def get_load(self, row: Any) -> float | None:
        return None if row.load_thousandths is None else row.load_thousandths / 1000


class SiteGateOut(serializers.Serializer[SiteGate]):
    joint = serializers.CharField()
    side = serializers.CharField()
    verdict = serializers.CharField(
        help_text="passed, failed or unknown, over the site's last two exposures."
    )
    reason = serializers.CharField(help_text="Empty where it passed.")


class DoneSetOut(serializers.Serializer[Any]):
    load_kg = ExactKgField()
    reps = serializers.IntegerField(allow_null=True)
    duration_s = serializers.IntegerField(allow_null=True)
    rir = serializers.FloatField(source="left", allow_null=True)


class LastTimeOut(serializers.Serializer[Any]):
    day_on = serializers.DateField()
    sets = DoneSetOut(many=True)


class NextPrescriptionOut(serializers.Serializer[NextPrescription]):
    prescription = serializers.UUIDField(source="prescription.uid")
    exercise = serializers.CharField(source="prescription.exercise.code")
    exercise_name = serializers.CharField(source="prescription.exercise.name")
    side = serializers.CharField(source="prescription.side")
    track = serializers.CharField(help_text="fresh, or after which exercise of a pair it comes.")
    sets_done = serializers.IntegerField(help_text="Work sets logged for this very session.")
    advice = AdviceOut()
    warm_up = WarmUpSetOut(many=True, help_text="Sets before the first work set.")
    gates = SiteGateOut(many=True, help_text="The pain rules at each site that the exercise loads.")
    last_time = LastTimeOut(source="last", allow_null=True)
    alternatives = serializers.ListField(
        child=serializers.CharField(), source="alternative_codes", help_text="What the client may swap to."
    )


class NextBlockOut(serializers.Serializer[NextBlock]):
    kind = serializers.CharField(source="block.kind")
    levers = serializers.ListField(child=serializers.CharField(), source="block.levers")
    rest_s = serializers.IntegerField(source="block.rest_s")
    prescriptions = NextPrescriptionOut(many=True)


class MissingReportOut(serializers.Serializer[Any]):
    """A pain report to ask for: without it no lever of this joint moves."""

    joint = serializers.CharField()
    side = serializers.CharField()
    day_on = serializers.DateField(help_text="The training day that it is about.")
    moment = serializers.CharField()


class NextSessionOut(serializers.Serializer[NextSession]):
    scheduled_session = serializers.UUIDField(source="scheduled.uid")
    due_on = serializers.DateField(source="scheduled.due_on")
    is_deload = serializers.BooleanField(source="scheduled.is_deload")
    as_of_on = serializers.DateField(help_text="The days before it are what the advice knows.")
    is_blocked = serializers.BooleanField(
        help_text="A red flag stands: there is no training advice, only refer_out."
    )
    blocks = NextBlockOut(many=True)
    asks = MissingReportOut(many=True)
    caution = serializers.CharField()
    refer_out = serializers.CharField()
    computed = ComputedOut()


class NextSessionView(Endpoint):
    @extend_schema(operation_id="next_load_list", responses={200: NextSessionOut})
    def get(self, request: Request, client_id: uuid.UUID, scheduled_session_id: uuid.UUID) -> Response:
        """Load and repetitions to aim for in each prescription, from its own history, before and during it.

        At most one lever of a block moves, and none unless every loaded site kept the pain rules on its last
        two exposures. Log sets for the session as they are done, and ask again for the next one.
        """
        found = read_next_session(
            actor=self.actor, client_uid=client_id, scheduled_uid=scheduled_session_id, now=timezone.now()
        )
        return Response(NextSessionOut(found).data)


urlpatterns = [
    path(
        "clients/<uuid:client_id>/scheduled-sessions/<uuid:scheduled_session_id>/prescriptions/next",
        NextSessionView.as_view(),
    ),
]
