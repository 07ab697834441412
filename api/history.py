"""A client's history over HTTP: sites week by week, lifts exposure by exposure."""

import uuid

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedOut
from api.endpoint import Endpoint
from api.fields import StrictSerializer
from api.history_body import history_body
from api.listing import DigitsField
from api.marks import Mark
from coaching.operations.history_reads import open_history
from coaching.reads.adherence_weeks import AdherenceWeek, AdherenceWeeks, WholeHistory
from coaching.reads.alert_openings import AlertOpening
from coaching.reads.history import (
    LiftHistory,
    LiftPoint,
    LiftTrend,
    SiteWeeks,
)
from coaching.reads.rir_bias import StatedReserve

MOST_WEEKS = 104


class HistoryQuery(StrictSerializer):
    weeks = DigitsField(min_value=1, max_value=MOST_WEEKS, default=16)


class AlertOpeningOut(serializers.Serializer[AlertOpening]):
    opened_on = serializers.DateField()
    kind = serializers.CharField()


class SiteWeeksOut(serializers.Serializer[SiteWeeks]):
    """Every list has one entry per week of `weeks`, in the same order."""

    computed = ComputedOut()
    joint = serializers.CharField()
    side = serializers.CharField()
    joint_reps = serializers.ListField(child=serializers.FloatField())
    joint_load_kg = serializers.ListField(child=serializers.FloatField())
    pain_highest = serializers.ListField(
        child=serializers.IntegerField(allow_null=True), help_text="0-10; null: not known, which is not 0."
    )
    pain_median = serializers.ListField(child=serializers.FloatField(allow_null=True))
    reports = serializers.ListField(child=serializers.IntegerField())
    is_deload = serializers.ListField(child=serializers.BooleanField())
    alerts = AlertOpeningOut(many=True, source="alert_openings")
    notes_on = serializers.ListField(child=serializers.DateField(), help_text="Days of the coach's notes.")


class LiftPointOut(serializers.Serializer[LiftPoint]):
    day_on = serializers.DateField()
    e1rm_kg = serializers.FloatField(allow_null=True, help_text="null: no set of the day allows an estimate.")
    best_load_kg = serializers.FloatField(allow_null=True)
    best_reps = serializers.IntegerField(allow_null=True)
    best_rir = serializers.FloatField(allow_null=True)
    is_deload = serializers.BooleanField()
    is_pain_limited = serializers.BooleanField()


class LiftTrendOut(serializers.Serializer[LiftTrend]):
    """Theil-Sen line of the comparable exposures, with its 95 % limits."""

    exposures = serializers.IntegerField()
    kg_per_week = serializers.FloatField()
    low_kg_per_week = serializers.FloatField()
    high_kg_per_week = serializers.FloatField()
    computed = ComputedOut(help_text="Its days are those of the first and the last exposure.")


class LiftHistoryOut(serializers.Serializer[LiftHistory]):
    exercise = serializers.CharField(source="exercise_code")
    exercise_name = serializers.CharField()
    side = serializers.CharField()
    track = serializers.CharField(help_text="fresh, or after which exercise of a pair it comes.")
    state = serializers.CharField(
        source="night.state",
        help_text="progressing, stalled, regressing or not_assessable, of the newest night.",
    )
    reason = serializers.CharField(source="night.reason", help_text="Why it is not assessable, else empty.")
    reason_text = serializers.CharField(source="night.reason_text", help_text="The reason in words.")
    assessable_on = serializers.DateField(
        source="night.assessable_on",
        allow_null=True,
        help_text="The first night that could tell, if the lift goes on at its own pace; "
        "null: assessable, or no waiting helps (see reason).",
    )
    state_computed = ComputedOut(
        source="night.computed", allow_null=True, help_text="Of state; null: no night has looked at it."
    )
    computed = ComputedOut(help_text="Of the points.")
    alerts = AlertOpeningOut(many=True, source="alert_openings")
    points = LiftPointOut(many=True)
    trend = LiftTrendOut(allow_null=True)


class RirBiasOut(serializers.Serializer[StatedReserve]):
    """How far stated repetitions in reserve were off, on sets that then went to failure.

    Shown to coach and client, never applied: no load, no estimate and no advice is changed by it.
    """

    mean_reps = serializers.FloatField(
        allow_null=True,
        help_text="Mean of repetitions still done minus repetitions stated; above 0: more were left than "
        "said. null: fewer than min_sets sets.",
    )
    low_reps = serializers.FloatField(
        allow_null=True, help_text="95 % of single guesses lie from low_reps to high_reps."
    )
    high_reps = serializers.FloatField(allow_null=True)
    n_sets = serializers.IntegerField(help_text="Sets to failure with a guess, within the window.")
    min_sets = serializers.IntegerField(help_text="Below as many sets no number is given.")
    computed = ComputedOut()


class AdherenceWeekOut(serializers.Serializer[AdherenceWeek]):
    """One week's sessions, and the share of what they asked for that was done, between two bounds."""

    starts_on = serializers.DateField(help_text="Monday.")
    low_share = serializers.FloatField(
        source="low", allow_null=True, help_text="0-1; sessions without a log as not done. null: none due."
    )
    high_share = serializers.FloatField(
        source="high", allow_null=True, help_text="0-1; sessions without a log as done. null: none due."
    )
    done = serializers.IntegerField(help_text="Sessions, as all counts here.")
    late = serializers.IntegerField(help_text="Done more than two days late; they count as missed.")
    not_done = serializers.IntegerField()
    unknown = serializers.IntegerField(help_text="Without a log.")
    pending = serializers.IntegerField(help_text="May still be logged; in no share.")
    excused = serializers.IntegerField(help_text="Cancelled, or stopped by a clinician; in no share.")


class AdherenceOut(serializers.Serializer[AdherenceWeeks]):
    computed = ComputedOut()
    weeks = AdherenceWeekOut(many=True, help_text="One entry per week.")


class HistoryOut(serializers.Serializer[WholeHistory]):
    weeks = serializers.ListField(
        child=serializers.DateField(), source="history.week_starts", help_text="Mondays, oldest first."
    )
    sites = SiteWeeksOut(many=True, source="history.sites")
    lifts = LiftHistoryOut(many=True, source="history.lifts")
    rir_bias = RirBiasOut(source="history.rir_bias")
    adherence = AdherenceOut()


class HistoryView(Endpoint):
    query = HistoryQuery

    @extend_schema(operation_id="history_get", responses={200: HistoryOut})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """Joint reps, load and pain of sites by ISO week, estimates of lifts, adherence by week, RIR bias."""
        opened = open_history(
            actor=self.actor, client_uid=client_id, weeks=self.asked["weeks"], now=timezone.now()
        )
        mark = Mark(request, self.actor, opened.mark)
        word = mark.word_held()
        return mark.tagged(Response(history_body(opened.made()))) if word is None else mark.unchanged(word)


urlpatterns = [path("clients/<uuid:client_id>/history", HistoryView.as_view())]
