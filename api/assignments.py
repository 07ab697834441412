"""Assignments of plans to clients, and the calendar of scheduled sessions that they make."""

import uuid
from datetime import date, timedelta
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import CodeField, DayField, IdField, StrictSerializer, TextField, WithOwnId
from api.listing import DatedListQuery
from api.plans import DayOut
from coaching.models import Actor, Assignment, ScheduledSession, ScheduledStatus
from coaching.operations.assignments import assign_plan, end_assignment, read_assignment, read_assignments
from coaching.operations.scheduled_sessions import (
    CalendarChange,
    change_scheduled_session,
    read_calendar,
    read_scheduled_session,
)

MAX_WINDOW_DAYS = 120


class AssignmentIn(WithOwnId):
    plan = IdField()
    starts_on = DayField()
    override_reason = TextField(
        max_length=500,
        allow_blank=True,
        default="",
        help_text="Why the plan is right although the injury history speaks against it; the client reads it.",
    )


class AssignmentOut(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="uid")
    plan = serializers.UUIDField(source="plan_version.plan.uid")
    plan_name = serializers.CharField(source="plan_version.plan.name")
    plan_version = serializers.IntegerField(source="plan_version.number")
    starts_on = serializers.DateField()
    ends_on = serializers.DateField(allow_null=True)
    override_reason = serializers.CharField()
    assigned_by_name = serializers.CharField(source="assigned_by.name", default=None, allow_null=True)
    created_at = serializers.DateTimeField()
    version = serializers.IntegerField()


class AssignmentsQuery(DatedListQuery):
    orders = ("starts_on",)


class CalendarQuery(StrictSerializer):
    until = DayField()

    def get_fields(self) -> dict[str, Any]:
        """`from` is a word of Python's own, so it cannot be declared like the rest."""
        return {"from": DayField(), **super().get_fields()}

    def validate(self, attrs: dict[str, date]) -> dict[str, date]:
        window = attrs["until"] - attrs["from"]
        if not timedelta(0) <= window < timedelta(days=MAX_WINDOW_DAYS):
            raise serializers.ValidationError(
                {"until": f"Ask for 1 to {MAX_WINDOW_DAYS} days, from before until."}, code="window"
            )
        return attrs


class ScheduledSessionPatch(StrictSerializer):
    due_on = DayField(required=False)
    status = CodeField(choices=ScheduledStatus.values, required=False)


class SessionIdOut(serializers.UUIDField):
    """The id of a logged session, out of its row."""

    def to_representation(self, value: Any) -> str:
        return str(value.uid)


class SessionAdherenceOut(serializers.Serializer[Any]):
    """What a session came to; shares are of what was prescribed, 1 = all of it, above 1 = more."""

    state = serializers.CharField(
        help_text="done; not_done, said by client or coach; unknown: nobody has logged it, nor said so."
    )
    is_attended = serializers.BooleanField(
        allow_null=True, help_text="Done, at most two days late; null while unknown."
    )
    sets = serializers.FloatField(allow_null=True, help_text="Share of the work sets.")
    reps = serializers.FloatField(
        allow_null=True, help_text="Share of the repetitions, or of the seconds where all of it is timed."
    )
    load = serializers.FloatField(
        allow_null=True,
        help_text="Mean load of a repetition against the prescribed one; null unless every load is known.",
    )
    has_reached_effort = serializers.BooleanField(
        allow_null=True,
        help_text="False if a set stayed short of its effort target; null if not known, or none was set.",
    )
    is_modified = serializers.BooleanField(help_text="Attended with fewer sets, fewer reps or less load.")
    is_over = serializers.BooleanField(help_text="Attended with more of any of them.")


class ScheduledSessionOut(serializers.Serializer[Any]):
    """A plan day on the calendar, with its content and what it asked for on the day it was laid out."""

    id = serializers.UUIDField(source="session.uid")
    assignment_id = serializers.UUIDField(source="session.assignment.uid")
    due_on = serializers.DateField(source="session.due_on")
    status = serializers.CharField(source="session.status")
    is_deload = serializers.BooleanField(source="session.is_deload")
    prescribed_sets = serializers.IntegerField(
        source="session.prescribed_sets", help_text="One-sided work of both sides is a set of each."
    )
    prescribed_reps = serializers.IntegerField(
        source="session.prescribed_reps", help_text="Sets times the low end of the range; a hold has none."
    )
    prescribed_joint_reps = serializers.DictField(
        child=serializers.FloatField(),
        source="session.prescribed_joint_reps",
        help_text=(
            'By site, like "knee:left": sets times the high end times joint stress, warm-up ramp included; '
            "each hold counts as one repetition (coach judgement)."
        ),
    )
    day = DayOut(source="session.plan_day")
    session_ids = serializers.ListField(
        child=SessionIdOut(), source="session.logged", help_text="What has been logged for it."
    )
    adherence = SessionAdherenceOut(
        allow_null=True, help_text="Null where it is cancelled, stopped, or neither due nor logged yet."
    )
    version = serializers.IntegerField(source="session.version")


class CalendarOut(serializers.Serializer[Any]):
    items = ScheduledSessionOut(many=True)


class AssignmentsView(Endpoint):
    query = AssignmentsQuery

    @extend_schema(operation_id="assignment_list", responses={200: AssignmentOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """A page of what the client was given, newest first; from and until are of starts_on."""
        rows = read_assignments(actor=self.actor, client_uid=client_id, now=timezone.now())
        return self.page(rows, lambda row: AssignmentOut(row).data)

    @extend_schema(
        operation_id="assignment_create",
        request=AssignmentIn,
        responses={200: AssignmentOut, 201: AssignmentOut},
    )
    def post(self, request: Request, client_id: uuid.UUID) -> Response:
        """Give a plan's current version to the client from a date; what they had ends the day before.

        Weeks are calendar weeks from Monday, the first that of starts_on: its days before starts_on are left
        out. 409 while a red flag stands; 409 against caps, stopped sites or restrictions without a reason.
        The same again gives 200 and changes nothing.
        """
        asked = self.checked(AssignmentIn)
        assigned = assign_plan(
            actor=self.actor,
            client_uid=client_id,
            plan_uid=asked["plan"],
            starts_on=asked["starts_on"],
            override_reason=asked["override_reason"],
            now=timezone.now(),
            own_uid=asked.get("id"),
        )
        row = assigned.assignment
        return with_etag(AssignmentOut(row).data, row.version, status=201 if assigned.is_new else 200)

    def shown(self, record: Assignment) -> Shown:
        return shown_assignment(self.actor, self.kwargs["client_id"], record)


class AssignmentView(Endpoint):
    @extend_schema(operation_id="assignment_get", responses={200: AssignmentOut})
    def get(self, request: Request, client_id: uuid.UUID, assignment_id: uuid.UUID) -> Response:
        """One assignment."""
        row = read_assignment(
            actor=self.actor, client_uid=client_id, assignment_uid=assignment_id, now=timezone.now()
        )
        return with_etag(AssignmentOut(row).data, row.version)

    @extend_schema(operation_id="assignment_end", responses={204: None})
    def delete(self, request: Request, client_id: uuid.UUID, assignment_id: uuid.UUID) -> Response:
        """End it today: planned sessions after today go; one that has not begun goes altogether."""
        end_assignment(
            actor=self.actor,
            client_uid=client_id,
            assignment_uid=assignment_id,
            expected_version=self.expected_version(),
            now=timezone.now(),
        )
        return Response(status=204)

    def shown(self, record: Assignment) -> Shown:
        return shown_assignment(self.actor, self.kwargs["client_id"], record)


def shown_assignment(actor: Actor, client_uid: uuid.UUID, record: Assignment) -> Shown:
    row = read_assignment(actor=actor, client_uid=client_uid, assignment_uid=record.uid, now=timezone.now())
    return Shown(row.version, AssignmentOut(row).data)


class CalendarView(Endpoint):
    query = CalendarQuery

    @extend_schema(operation_id="scheduled_session_list", responses={200: CalendarOut})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """The client's calendar of up to 120 days, in order, each with its content and what it came to."""
        rows = read_calendar(
            actor=self.actor,
            client_uid=client_id,
            from_on=self.asked["from"],
            until_on=self.asked["until"],
            now=timezone.now(),
        )
        return Response({"items": ScheduledSessionOut(rows, many=True).data})


class ScheduledSessionView(Endpoint):
    @extend_schema(operation_id="scheduled_session_get", responses={200: ScheduledSessionOut})
    def get(self, request: Request, client_id: uuid.UUID, scheduled_session_id: uuid.UUID) -> Response:
        """One scheduled session with its whole content."""
        row = read_scheduled_session(
            actor=self.actor, client_uid=client_id, scheduled_uid=scheduled_session_id, now=timezone.now()
        )
        return with_etag(ScheduledSessionOut(row).data, row.session.version)

    @extend_schema(
        operation_id="scheduled_session_update",
        request=ScheduledSessionPatch,
        responses={200: ScheduledSessionOut},
    )
    def patch(self, request: Request, client_id: uuid.UUID, scheduled_session_id: uuid.UUID) -> Response:
        """Move it or say what became of it; a client may only say not_done. With If-Match."""
        row = change_scheduled_session(
            actor=self.actor,
            client_uid=client_id,
            scheduled_uid=scheduled_session_id,
            change=CalendarChange(**self.checked(ScheduledSessionPatch, is_patch=True)),
            expected_version=self.expected_version(),
            now=timezone.now(),
        )
        return with_etag(ScheduledSessionOut(row).data, row.session.version)

    def shown(self, record: ScheduledSession) -> Shown:
        row = read_scheduled_session(
            actor=self.actor,
            client_uid=self.kwargs["client_id"],
            scheduled_uid=record.uid,
            now=timezone.now(),
        )
        return Shown(row.session.version, ScheduledSessionOut(row).data)


urlpatterns = [
    path("clients/<uuid:client_id>/assignments", AssignmentsView.as_view()),
    path("clients/<uuid:client_id>/assignments/<uuid:assignment_id>", AssignmentView.as_view()),
    path("clients/<uuid:client_id>/scheduled-sessions", CalendarView.as_view()),
    path(
        "clients/<uuid:client_id>/scheduled-sessions/<uuid:scheduled_session_id>",
        ScheduledSessionView.as_view(),
    ),
]
