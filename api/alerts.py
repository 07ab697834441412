"""Alerts: read with their evidence, acknowledged, put off, closed; red flags by their own rules."""

import uuid
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedOut
from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import CodeField, DayField, IdField, StrictSerializer, TextField
from api.listing import DatedListQuery
from api.permissions import IsCoach
from api.picture_links import HELP, picture_link
from coaching.models import Alert, AlertKind, AlertStatus, Score
from coaching.operations import alerts
from coaching.operations.alert_reads import read_alert, read_alerts, read_scores
from coaching.reads.alerts import caution_of, refer_out_of
from coaching.reads.calendar import practice_today
from coaching.reads.computed import (
    adherence_parts_of,
    computed_of_alert,
    computed_of_score,
    scored_lifts_of,
)


class AlertQuery(DatedListQuery):
    orders = ("opened_on",)
    narrowed_by_read = frozenset({"status", "kind", "client", "target", "from", "until"})

    status = CodeField(choices=AlertStatus.values, required=False, help_text="Left out: all but closed.")
    kind = CodeField(choices=AlertKind.values, required=False)
    client = IdField(required=False)
    target = TextField(max_length=120, required=False, help_text="A site, or a lift, as in the alerts.")


class ScoresQuery(DatedListQuery):
    orders = ("night_on",)


class PutOffIn(StrictSerializer):
    until_on = DayField()


class CloseIn(StrictSerializer):
    note = TextField(max_length=2000, is_multiline=True)


class WithdrawalIn(StrictSerializer):
    reason = TextField(max_length=2000, is_multiline=True)


class AlertForClientOut(serializers.Serializer[Alert]):
    """What a client sees of an alert about themselves: the advice, not the coach's notes."""

    id = serializers.UUIDField(source="uid")
    client = serializers.UUIDField(source="client.uid")
    kind = serializers.CharField()
    target = serializers.CharField(help_text="A site like knee:left, or a lift like back_squat:both:fresh.")
    status = serializers.CharField()
    opened_on = serializers.DateField()
    sentence = serializers.CharField()
    caution = serializers.SerializerMethodField()
    refer_out = serializers.SerializerMethodField()
    withdrawal_asked_at = serializers.DateTimeField(allow_null=True)
    picture = serializers.SerializerMethodField(help_text=HELP)

    def get_caution(self, alert: Alert) -> str:
        return caution_of(alert)

    def get_refer_out(self, alert: Alert) -> str:
        return refer_out_of(alert)

    def get_picture(self, alert: Alert) -> str | None:
        return picture_link(alert.client.uid, alert.target)


class AlertOut(AlertForClientOut):
    severity = serializers.IntegerField()
    seen_on = serializers.DateField(help_text="The last night that found the evidence.")
    evidence = serializers.DictField(help_text="The numbers, their window, and what they were computed from.")
    worth_asking = serializers.ListField(
        child=serializers.CharField(), help_text="Questions to the coach, never advice."
    )
    worse_since_on = serializers.DateField(
        allow_null=True,
        help_text="Worse than what was read or put off, since this day; null once read again.",
    )
    computed = serializers.SerializerMethodField()
    put_off_until_on = serializers.DateField(allow_null=True)
    acknowledged_at = serializers.DateTimeField(allow_null=True)
    closed_on = serializers.DateField(allow_null=True)
    closing = serializers.CharField()
    close_note = serializers.CharField()
    version = serializers.IntegerField()

    @extend_schema_field(ComputedOut)
    def get_computed(self, alert: Alert) -> Any:
        return ComputedOut(computed_of_alert(alert)).data


def alert_record(*, is_list: bool) -> PolymorphicProxySerializer:
    """As a coach sees it, or as the client it is about."""
    shapes = [AlertOut, AlertForClientOut]
    return PolymorphicProxySerializer(
        component_name="AlertRecordOut", serializers=shapes, resource_type_field_name=None, many=is_list
    )


class AdherencePartsOut(serializers.Serializer[Any]):
    """28 days taken apart; shares of what was prescribed for each date, 1 = all of it; null = not known."""

    attended_low = serializers.FloatField(allow_null=True, help_text="Sessions without a log as not done.")
    attended_high = serializers.FloatField(allow_null=True, help_text="Sessions without a log as done.")
    sets_low = serializers.FloatField(allow_null=True, help_text="Work sets, each session at most 1.")
    sets_high = serializers.FloatField(allow_null=True)
    reps_low = serializers.FloatField(
        allow_null=True, help_text="Repetitions, or seconds where all of a session is timed; at most 1 each."
    )
    reps_high = serializers.FloatField(allow_null=True)
    load = serializers.FloatField(
        allow_null=True,
        help_text=(
            "Mean load of a repetition, at most 1 each, in the attended sessions whose plan states every "
            "load: in kilograms, or as a share of 1RM with an e1RM known before the day."
        ),
    )
    effort = serializers.FloatField(
        allow_null=True,
        help_text=(
            "Share of the attended sessions, as far as known, in which no set stayed short of its effort "
            "target. A set that pain ended is no lack of effort."
        ),
    )
    dose_ratio = serializers.FloatField(
        allow_null=True,
        help_text="Mean completed / prescribed dose of the attended sessions, not capped: above 1 = more.",
    )
    modified = serializers.IntegerField(help_text="Sessions with fewer sets, fewer reps or less load.")
    over = serializers.IntegerField(help_text="Sessions with more of any of them.")
    late = serializers.IntegerField(help_text="Sessions done more than two days late; they count as missed.")
    missed_spells = serializers.IntegerField(help_text="Spells of one or two sessions not done.")
    interrupted_spells = serializers.IntegerField(help_text="Spells of three or more.")
    excused = serializers.IntegerField(
        help_text="Sessions cancelled, or stopped by a clinician; they are in no share."
    )
    computed = ComputedOut()


class ScoredLiftOut(serializers.Serializer[Any]):
    """What a night made of a lift: changes are fractions of its e1RM a week; null = not known."""

    exercise = serializers.CharField()
    side = serializers.CharField()
    track = serializers.CharField(help_text="fresh, or after which exercise of a pair it comes.")
    state = serializers.CharField(help_text="progressing, stalled, regressing or not_assessable.")
    reason = serializers.CharField(help_text="Why it is not assessable, else empty.")
    exposures = serializers.IntegerField()
    exposures_to_go = serializers.IntegerField()
    days_to_go = serializers.IntegerField()
    assessable_on = serializers.DateField(allow_null=True)
    slope_per_week = serializers.FloatField(allow_null=True)
    slope_low_per_week = serializers.FloatField(allow_null=True)
    slope_high_per_week = serializers.FloatField(allow_null=True)
    computed = ComputedOut()


class ScoreOut(serializers.Serializer[Score]):
    night_on = serializers.DateField()
    revision = serializers.IntegerField()
    adherence_low = serializers.FloatField(
        allow_null=True, help_text="28 days, unknown sessions counted as not done."
    )
    adherence_high = serializers.FloatField(
        allow_null=True, help_text="28 days, unknown sessions counted as done."
    )
    sessions_due = serializers.IntegerField()
    sessions_done = serializers.IntegerField()
    sessions_unknown = serializers.IntegerField()
    adherence_parts = serializers.SerializerMethodField(help_text="Null in scores from before it.")
    lifts = serializers.SerializerMethodField(help_text="What each lift came to.")
    computed = serializers.SerializerMethodField()
    scored_at = serializers.DateTimeField()

    @extend_schema_field(AdherencePartsOut(allow_null=True))
    def get_adherence_parts(self, score: Score) -> Any:
        parts = adherence_parts_of(score)
        return None if parts is None else AdherencePartsOut(parts).data

    @extend_schema_field(ScoredLiftOut(many=True))
    def get_lifts(self, score: Score) -> Any:
        return ScoredLiftOut(scored_lifts_of(score), many=True).data

    @extend_schema_field(ComputedOut)
    def get_computed(self, score: Score) -> Any:
        return ComputedOut(computed_of_score(score)).data


class AlertsView(Endpoint):
    query = AlertQuery

    @extend_schema(operation_id="alert_list", responses={200: alert_record(is_list=True)})
    def get(self, request: Request) -> Response:
        """Alerts of the clients you may see, newest first, opened from .. until; closed ones if asked for."""
        asked = {word: self.asked[word] for word in AlertQuery.narrowed_by_read & self.asked.keys()}
        rows = read_alerts(actor=self.actor, asked=asked, now=timezone.now())
        return self.page(rows, lambda row: alert_body(self, row))


class AlertView(Endpoint):
    @extend_schema(operation_id="alert_get", responses={200: alert_record(is_list=False)})
    def get(self, request: Request, alert_id: uuid.UUID) -> Response:
        """One alert with its evidence; a client sees advice and caution only."""
        alert = read_alert(actor=self.actor, alert_uid=alert_id, now=timezone.now())
        return with_etag(alert_body(self, alert), alert.version)


class AlertActionView(Endpoint):
    permission_classes = [IsAuthenticated, IsCoach]

    def answer(self, alert: Alert) -> Response:
        return with_etag(AlertOut(alert).data, alert.version)

    def shown(self, record: Alert) -> Shown:
        alert = read_alert(actor=self.actor, alert_uid=record.uid, now=timezone.now())
        return Shown(alert.version, AlertOut(alert).data)


class AcknowledgementView(AlertActionView):
    @extend_schema(operation_id="alert_acknowledge", request=None, responses={200: AlertOut})
    def post(self, request: Request, alert_id: uuid.UUID) -> Response:
        """Say that you have read it; it is announced again only if it gets worse. Needs If-Match."""
        version = self.expected_version()
        now = timezone.now()
        return self.answer(
            alerts.acknowledge(actor=self.actor, alert_uid=alert_id, expected_version=version, now=now)
        )


class PutOffView(AlertActionView):
    @extend_schema(operation_id="alert_put_off", request=PutOffIn, responses={200: AlertOut})
    def post(self, request: Request, alert_id: uuid.UUID) -> Response:
        """Off the sheet until a date or until worse; a red flag never waits (403). Needs If-Match."""
        data, version, now = self.checked(PutOffIn), self.expected_version(), timezone.now()
        alert = alerts.put_off(
            actor=self.actor,
            alert_uid=alert_id,
            expected_version=version,
            until_on=data["until_on"],
            today=practice_today(self.actor, now),
            now=now,
        )
        return self.answer(alert)


class ClosingView(AlertActionView):
    @extend_schema(operation_id="alert_close", request=CloseIn, responses={200: AlertOut})
    def post(self, request: Request, alert_id: uuid.UUID) -> Response:
        """Close with a note; a red flag ends only by a recorded clearance (403). Needs If-Match."""
        data, version, now = self.checked(CloseIn), self.expected_version(), timezone.now()
        alert = alerts.close(
            actor=self.actor,
            alert_uid=alert_id,
            expected_version=version,
            note=data["note"],
            today=practice_today(self.actor, now),
            now=now,
        )
        return self.answer(alert)


class WithdrawalView(Endpoint):
    @extend_schema(operation_id="alert_ask_withdrawal", request=None, responses={200: AlertForClientOut})
    def post(self, request: Request, alert_id: uuid.UUID) -> Response:
        """The client says that a red flag was entered by mistake; it stands until the coach confirms."""
        alert = alerts.ask_withdrawal(actor=self.actor, alert_uid=alert_id, now=timezone.now())
        return Response(AlertForClientOut(alert).data)


class WithdrawalConfirmationView(AlertActionView):
    @extend_schema(operation_id="alert_confirm_withdrawal", request=WithdrawalIn, responses={200: AlertOut})
    def post(self, request: Request, alert_id: uuid.UUID) -> Response:
        """The coach confirms the mistake; stored as withdrawn, never as cleared. Needs If-Match."""
        data, version, now = self.checked(WithdrawalIn), self.expected_version(), timezone.now()
        alert = alerts.confirm_withdrawal(
            actor=self.actor,
            alert_uid=alert_id,
            expected_version=version,
            reason=data["reason"],
            today=practice_today(self.actor, now),
            now=now,
        )
        return self.answer(alert)


class ClientScoresView(Endpoint):
    query = ScoresQuery

    @extend_schema(operation_id="score_list", responses={200: ScoreOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """Adherence with its bounds and what each lift came to, night by night, newest first."""
        rows = read_scores(actor=self.actor, client_uid=client_id, now=timezone.now())
        return self.page(rows, lambda row: ScoreOut(row).data)


def alert_body(view: Endpoint, alert: Alert) -> dict[str, Any]:
    serializer = AlertForClientOut if view.actor.client_id is not None else AlertOut
    body: dict[str, Any] = serializer(alert).data
    return body


urlpatterns = [
    path("alerts", AlertsView.as_view()),
    path("alerts/<uuid:alert_id>", AlertView.as_view()),
    path("alerts/<uuid:alert_id>/acknowledgement", AcknowledgementView.as_view()),
    path("alerts/<uuid:alert_id>/put-off", PutOffView.as_view()),
    path("alerts/<uuid:alert_id>/closing", ClosingView.as_view()),
    path("alerts/<uuid:alert_id>/withdrawal", WithdrawalView.as_view()),
    path("alerts/<uuid:alert_id>/withdrawal/confirmation", WithdrawalConfirmationView.as_view()),
    path("clients/<uuid:client_id>/scores", ClientScoresView.as_view()),
]
