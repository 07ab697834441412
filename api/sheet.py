"""The morning sheet over HTTP."""

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedOut
from api.endpoint import Endpoint
from api.fields import DayField, IdField, StrictSerializer
from api.marks import Mark
from api.permissions import IsCoach
from api.picture_links import HELP, picture_link
from api.sheet_body import sheet_body
from api.shown_words import named_in, word_of
from coaching.operations.alert_reads import note_sheet_shown, open_sheet, read_sheet
from coaching.reads.sheet import (
    ExpiringRestriction,
    MorningSheet,
    Newcomer,
    SetToConfirm,
    UnscoredClient,
    WaitingLift,
    WithdrawnConsent,
)
from coaching.reads.sheet_lines import Screening, SheetEntry, SheetLine


class SheetQuery(StrictSerializer):
    on = DayField(required=False, help_text="The morning; today at the practice if left out.")
    coach = IdField(
        required=False, help_text="Whose sheet: a service token names the membership; coaches read their own."
    )


class SheetLineOut(serializers.Serializer[SheetLine]):
    alert = serializers.UUIDField(source="alert_uid")
    kind = serializers.CharField()
    target = serializers.CharField()
    severity = serializers.IntegerField()
    status = serializers.CharField()
    opened_on = serializers.DateField()
    is_new = serializers.BooleanField()
    worse_since_on = serializers.DateField(
        allow_null=True,
        help_text="Worse than what was read or put off, since this day; null once read again.",
    )
    p_value = serializers.FloatField(
        allow_null=True,
        help_text="How easily chance alone would have shown it, approximately; null: not screened. "
        "Never a probability of injury.",
    )
    is_folded = serializers.BooleanField(
        help_text="Not to be read first: show it closed, below the others. Never a red flag or pain limit."
    )
    folded_because = serializers.CharField(
        help_text="may_be_chance (did not pass the screening), beyond_the_first_ten, or empty."
    )
    sentence = serializers.CharField()
    worth_asking = serializers.ListField(
        child=serializers.CharField(), help_text="Questions to the coach, never advice."
    )
    caution = serializers.CharField()
    refer_out = serializers.CharField()
    computed = ComputedOut()
    picture = serializers.SerializerMethodField(help_text=HELP)

    def get_picture(self, line: SheetLine) -> str | None:
        return picture_link(line.client_uid, line.target)


class SheetEntryOut(serializers.Serializer[SheetEntry]):
    """One client; clients come by their worst line, lines by urgency, severity, evidence, and news first."""

    client = serializers.UUIDField(source="client_uid")
    client_name = serializers.CharField()
    coach_name = serializers.CharField()
    lines = SheetLineOut(many=True)


class ScreeningOut(serializers.Serializer[Screening]):
    """Trends are held against chance together (Benjamini-Hochberg); it folds lines and closes nothing."""

    tests_run = serializers.IntegerField(help_text="m: sites and lifts that the newest night could test.")
    found = serializers.IntegerField(help_text="Trends on this sheet.")
    folded = serializers.IntegerField(help_text="Those of them folded as perhaps chance.")
    false_discovery_rate = serializers.FloatField(help_text="q.")
    sentence = serializers.CharField()
    computed = ComputedOut()


class UnscoredOut(serializers.Serializer[UnscoredClient]):
    client = serializers.UUIDField(source="client_uid")
    client_name = serializers.CharField()
    reason = serializers.CharField()


class WithdrawnOut(serializers.Serializer[WithdrawnConsent]):
    """Nothing of this client is scored or shown since they withdrew their consent to health data."""

    client = serializers.UUIDField(source="client_uid")
    client_name = serializers.CharField()
    withdrawn_on = serializers.DateField()


class ExpiringOut(serializers.Serializer[ExpiringRestriction]):
    client = serializers.UUIDField(source="client_uid")
    client_name = serializers.CharField()
    joint = serializers.CharField()
    side = serializers.CharField()
    kind = serializers.CharField()
    until_on = serializers.DateField()


class SetToConfirmOut(serializers.Serializer[SetToConfirm]):
    """A load far above what the lift had seen: POST sets/{id}/confirmation confirms it."""

    set = serializers.UUIDField(source="set_uid")
    client = serializers.UUIDField(source="client_uid")
    client_name = serializers.CharField()
    exercise_name = serializers.CharField()
    performed_on = serializers.DateField()
    load_as_entered = serializers.CharField()


class NewcomerOut(serializers.Serializer[Newcomer]):
    client = serializers.UUIDField(source="client_uid")
    client_name = serializers.CharField()
    first_on = serializers.DateField()
    assessable_on = serializers.DateField(help_text="The first day on which pain trends can be assessed.")


class WaitingLiftOut(serializers.Serializer[WaitingLift]):
    """A lift that cannot be assessed yet."""

    client = serializers.UUIDField(source="client_uid")
    client_name = serializers.CharField()
    exercise = serializers.CharField()
    side = serializers.CharField()
    track = serializers.CharField()
    reason = serializers.CharField()
    reason_text = serializers.CharField(help_text="The reason in words.")
    assessable_on = serializers.DateField(
        allow_null=True,
        help_text="The first night that could tell, at the lift's own pace; null: no date helps.",
    )
    computed = ComputedOut(allow_null=True)


class SheetOut(serializers.Serializer[MorningSheet]):
    practice_name = serializers.CharField()
    coach_name = serializers.CharField()
    sheet_on = serializers.DateField()
    last_night_on = serializers.DateField(allow_null=True)
    nights_caught_up = serializers.IntegerField()
    nights_skipped = serializers.IntegerField(help_text="Nights of an outage too far back to be run.")
    unscored = UnscoredOut(many=True)
    withdrawn = WithdrawnOut(many=True)
    alerts_new = serializers.IntegerField(help_text="News this morning, without what may be chance.")
    alerts_worse = serializers.IntegerField(help_text="Worse this morning than what was read or put off.")
    lines_beyond = serializers.IntegerField(help_text="Lines folded for length, beyond the first ten.")
    screening = ScreeningOut()
    entries = SheetEntryOut(many=True)
    to_confirm = SetToConfirmOut(many=True)
    expiring = ExpiringOut(many=True)
    newcomers = NewcomerOut(many=True)
    waiting_lifts = WaitingLiftOut(many=True)
    urgency_review_note = serializers.CharField()


class SheetView(Endpoint):
    permission_classes = [IsAuthenticated, IsCoach]

    query = SheetQuery

    @extend_schema(operation_id="morning_sheet_get", responses={200: SheetOut})
    def get(self, request: Request) -> Response:
        """Who needs your attention this morning, in order, and why."""
        now = timezone.now()
        asked = {"on": self.asked.get("on"), "coach_uid": self.asked.get("coach")}
        ground = open_sheet(actor=self.actor, now=now, **asked)
        mark, listed = Mark(request, self.actor, ground.mark), [client.uid for client in ground.clients]
        word = mark.word_held()
        if word is not None:
            shown = named_in(word, listed)
            note_sheet_shown(actor=self.actor, ground=ground, shown=shown, now=now)
            return mark.unchanged(word)
        sheet = read_sheet(actor=self.actor, ground=ground, now=now)
        return mark.tagged(Response(sheet_body(sheet)), word_of(sheet.clients_shown, listed))


urlpatterns = [path("morning-sheet", SheetView.as_view())]
