"""How a pain report is written and read, alone or within a session."""

import uuid
from typing import Any

from rest_framework import serializers

from api.fields import CodeField, IdField, InstantField, StrictSerializer, TextField, WholeField
from coaching.models import MIDLINE_JOINTS, Joint, PainMoment, PainReport, SiteSide
from coaching.operations.entries import PainEntry
from coaching.operations.urgent import UrgentNotice
from coaching.reads.symptoms import SYMPTOM_CODES

ANSWERS = ["yes", "no", "not_answered"]


class PainReportIn(StrictSerializer):
    joint = CodeField(choices=Joint.values)
    side = CodeField(choices=SiteSide.values)
    other_site = TextField(max_length=80, required=False, allow_blank=True, default="")
    moment = CodeField(choices=PainMoment.values)
    pain = WholeField(min_value=0, max_value=10, help_text="NRS, 0 no pain to 10 worst imaginable.")
    symptoms = serializers.DictField(
        child=CodeField(choices=ANSWERS),
        required=False,
        default=dict,
        help_text="Coded questions of GET /symptoms; a code left out counts as not answered, never as no.",
    )
    note = TextField(max_length=2000, is_multiline=True, required=False, allow_blank=True, default="")
    explanation = TextField(
        max_length=300,
        required=False,
        allow_blank=True,
        default="",
        help_text="What the client says brought the pain on; severe pain without one is told at once.",
    )
    reported_at = InstantField()

    def validate_symptoms(self, symptoms: dict[str, str]) -> dict[str, str]:
        unknown = [code for code in symptoms if code not in SYMPTOM_CODES]
        if unknown:
            fault = serializers.ErrorDetail("There is no such symptom code.", code="unknown")
            raise serializers.ValidationError({code: [fault] for code in unknown})
        return symptoms

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        joint, side = attrs["joint"], attrs["side"]
        if joint == Joint.OTHER:
            if not attrs["other_site"]:
                raise serializers.ValidationError({"other_site": "Say where."}, code="required")
        elif (joint in MIDLINE_JOINTS) != (side == SiteSide.MIDLINE):
            raise serializers.ValidationError(
                {"side": "The spine is midline; every other joint is left or right."}, code="impossible_site"
            )
        return attrs


class PainReportInSession(PainReportIn):
    id = IdField()


class PainReportAlone(PainReportIn):
    client = IdField(required=False, help_text="For a coach who writes on a client's behalf.")
    session = IdField(required=False, allow_null=True, default=None)


class DeleteQuery(StrictSerializer):
    client = IdField(required=False, help_text="Whose it was, for a coach who deletes before it came in.")


class PainReportOut(serializers.Serializer[PainReport]):
    id = serializers.UUIDField(source="uid")
    joint = serializers.CharField()
    side = serializers.CharField()
    other_site = serializers.CharField()
    moment = serializers.CharField()
    pain = serializers.IntegerField()
    symptoms = serializers.DictField(child=serializers.CharField())
    note = serializers.CharField()
    explanation = serializers.CharField()
    reported_at = serializers.DateTimeField()
    felt_on = serializers.DateField()
    session = serializers.UUIDField(source="session.uid", allow_null=True, default=None)
    version = serializers.IntegerField()


class UrgentOut(serializers.Serializer[UrgentNotice]):
    """What must be said at once: stop, and who to see."""

    kind = serializers.CharField()
    pain_report = serializers.UUIDField(source="report.uid")
    symptoms = serializers.ListField(source="codes", child=serializers.CharField())
    urgency = serializers.CharField()
    instruction = serializers.CharField()
    caution = serializers.CharField()


def pain_entry(data: dict[str, Any], uid: uuid.UUID | None = None) -> PainEntry:
    return PainEntry(
        uid=uid or data["id"],
        joint=data["joint"],
        side=data["side"],
        other_site=data["other_site"],
        moment=data["moment"],
        pain=data["pain"],
        symptoms=data["symptoms"],
        note=data["note"],
        reported_at=data["reported_at"],
        session_uid=data.get("session"),
        explanation=data["explanation"],
    )
