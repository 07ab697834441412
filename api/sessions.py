"""Sessions: put by client-made id, posted in batches, read back, edited with their version."""

import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

import api.made_ids  # noqa: F401 - registers the converter
from api.authentication import written_by
from api.counted_posts import CountedPost
from api.endpoint import Endpoint, with_etag
from api.etags import Shown, tag_of
from api.fields import (
    CodeField,
    FlagField,
    IdField,
    InstantField,
    LoadField,
    NumberField,
    StrictSerializer,
    TextField,
    WholeField,
)
from api.listing import DatedListQuery
from api.marks import Mark
from api.pain_fields import DeleteQuery, PainReportInSession, PainReportOut, UrgentOut, pain_entry
from api.problems import Problem, faults_of, problem_body, problem_of
from api.quick_session import quick_item, quick_session
from api.session_body import held_body, session_body
from coaching.errors import DiffersError, ForbearError
from coaching.models import Actor, EndedBy, LoadUnit, LoggedSet, Session, SetKind, SetSide
from coaching.operations.entries import MAX_SETS, SessionEntry, SetEntry
from coaching.operations.sessions import (
    BatchItem,
    Outcome,
    Recorded,
    confirm_set,
    delete_session,
    open_sessions,
    read_session,
    record_batch,
    record_session,
    session_for,
)
from coaching.reads.loads import exact_load_kg
from coaching.reads.session_pages import contents_of
from coaching.reads.sessions import sessions_with_content

MAX_BATCH = 100


class SessionsQuery(DatedListQuery):
    orders = ("performed_at",)

    exercise = TextField(max_length=60, required=False, help_text="A code: sessions with a set of it.")


class SetIn(StrictSerializer):
    id = IdField()
    exercise = TextField(max_length=60)
    kind = CodeField(choices=SetKind.values, default=SetKind.WORK)
    side = CodeField(choices=SetSide.values, default=SetSide.BOTH)
    load = LoadField(
        default=0, help_text="As entered, in load_unit; what it means is the exercise's load_basis."
    )
    load_unit = CodeField(choices=LoadUnit.values, default=LoadUnit.KG)
    reps = WholeField(min_value=0, max_value=1000, required=False, allow_null=True, default=None)
    duration_s = WholeField(min_value=1, max_value=7200, required=False, allow_null=True, default=None)
    rir = NumberField(min_value=0, max_value=20, step=0.5, required=False, allow_null=True, default=None)
    guessed_rir = NumberField(
        min_value=0,
        max_value=20,
        step=0.5,
        required=False,
        allow_null=True,
        default=None,
        help_text="Repetitions in reserve that the lifter stated during the set. Kept to be compared with "
        "what a set to failure then showed; no load and no estimate is changed by it.",
    )
    guessed_after_reps = WholeField(
        min_value=0,
        max_value=1000,
        required=False,
        allow_null=True,
        default=None,
        help_text="After how many repetitions of the set guessed_rir was stated; 0 is before the set began. "
        "Both are given, or neither.",
    )
    ended_by = CodeField(choices=EndedBy.values, default=EndedBy.TARGET)
    tempo = TextField(max_length=12, required=False, allow_blank=True, default="")
    rest_s = WholeField(min_value=0, max_value=7200, required=False, allow_null=True, default=None)
    follows_previous = FlagField(
        default=False, help_text="Done at once after the set before it, without rest."
    )
    prescription = IdField(required=False, allow_null=True, default=None)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if (attrs["reps"] is None) == (attrs["duration_s"] is None):
            raise serializers.ValidationError(
                {"reps": "Give reps or duration_s, one of the two."}, code="required"
            )
        _check_guess(attrs)
        return attrs


def _check_guess(attrs: dict[str, Any]) -> None:
    guessed_rir, after_reps, reps = attrs["guessed_rir"], attrs["guessed_after_reps"], attrs["reps"]
    if (guessed_rir is None) != (after_reps is None):
        missing = "guessed_rir" if guessed_rir is None else "guessed_after_reps"
        detail = "Give guessed_rir and guessed_after_reps, or neither."
        raise serializers.ValidationError({missing: detail}, code="required")
    if guessed_rir is not None and reps is None:
        raise serializers.ValidationError(
            {"guessed_rir": "A guess belongs to a set that is counted in reps."}, code="invalid"
        )
    if after_reps is not None and after_reps > reps:
        raise serializers.ValidationError(
            {"guessed_after_reps": "The set has fewer repetitions than that."}, code="out_of_range"
        )


class SessionIn(StrictSerializer):
    performed_at = InstantField()
    ended_at = InstantField(required=False, allow_null=True, default=None)
    session_rpe = NumberField(
        min_value=0, max_value=10, step=0.5, required=False, allow_null=True, default=None
    )
    note = TextField(max_length=2000, is_multiline=True, required=False, allow_blank=True, default="")
    scheduled_session = IdField(required=False, allow_null=True, default=None)
    client = IdField(required=False, help_text="For a coach who writes on a client's behalf.")
    sets = SetIn(many=True, max_length=MAX_SETS, required=False, default=list)  # type: ignore[call-arg]
    pain_reports = PainReportInSession(many=True, max_length=100, required=False, default=list)  # type: ignore[call-arg]


class SessionInBatch(SessionIn):
    id = IdField()


class BatchIn(serializers.Serializer[Any]):
    client = IdField(required=False, help_text="For a coach who writes on a client's behalf.")
    items = SessionInBatch(many=True, max_length=MAX_BATCH)  # type: ignore[call-arg]


class SetOut(serializers.Serializer[LoggedSet]):
    id = serializers.UUIDField(source="uid")
    exercise = serializers.CharField(source="exercise.code")
    kind = serializers.CharField()
    side = serializers.CharField()
    load = LoadField(source="load_thousandths")
    load_unit = serializers.CharField()
    load_kg = serializers.SerializerMethodField(help_text="Exact kilograms, derived; never read back.")
    reps = serializers.IntegerField(allow_null=True)
    duration_s = serializers.IntegerField(allow_null=True)
    rir = serializers.FloatField(allow_null=True)
    guessed_rir = serializers.FloatField(allow_null=True, help_text="Stated during the set; never applied.")
    guessed_after_reps = serializers.IntegerField(allow_null=True)
    ended_by = serializers.CharField()
    tempo = serializers.CharField()
    rest_s = serializers.IntegerField(allow_null=True)
    follows_previous = serializers.SerializerMethodField()
    prescription = serializers.UUIDField(source="prescription.uid", allow_null=True, default=None)
    to_confirm = serializers.BooleanField(source="is_to_confirm")

    def get_load_kg(self, row: LoggedSet) -> str:
        return exact_load_kg(row)

    def get_follows_previous(self, row: LoggedSet) -> bool:
        return row.follows_position is not None


class SessionOut(serializers.Serializer[Session]):
    id = serializers.UUIDField(source="uid")
    client = serializers.UUIDField(source="client.uid")
    performed_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    performed_on = serializers.DateField()
    session_rpe = serializers.FloatField(allow_null=True)
    note = serializers.CharField()
    scheduled_session = serializers.UUIDField(source="scheduled_session.uid", allow_null=True, default=None)
    sets = SetOut(many=True)
    pain_reports = PainReportOut(many=True)
    version = serializers.IntegerField()
    received_at = serializers.DateTimeField()


class RecordedOut(serializers.Serializer[Recorded]):
    """The stored session, and what must be said at once (red flags, a passed pain limit)."""

    session = SessionOut()
    urgent = UrgentOut(many=True)


class BatchItemOut(serializers.Serializer[Any]):
    index = serializers.IntegerField()
    id = serializers.CharField()
    status = serializers.IntegerField()
    etag = serializers.CharField(required=False)
    urgent = UrgentOut(many=True, required=False)
    problem = serializers.DictField(required=False)


class BatchOut(serializers.Serializer[Any]):
    items = BatchItemOut(many=True)


STATUS_OF_OUTCOME = {Outcome.CREATED: 201, Outcome.REPLAYED: 200, Outcome.UPDATED: 200}


class SessionView(CountedPost):
    @extend_schema(
        operation_id="session_put",
        request={"application/json": SessionIn},
        responses={200: RecordedOut, 201: RecordedOut},
    )
    def put(self, request: Request, session_id: uuid.UUID) -> Response:
        """Store a session under an id that the client app made.

        The same content again answers 200 and writes nothing. Other content needs If-Match, or answers 409.
        """
        session_id = self.client_made(session_id)
        data = quick_session(request.data)
        if data is None:
            data = self.checked(SessionIn)
        self.sent_as = SessionIn()
        return self._record(data, session_id, self.named_version())

    @extend_schema(operation_id="session_get", responses={200: SessionOut})
    def get(self, request: Request, session_id: uuid.UUID) -> Response:
        session = read_session(actor=self.actor, session_uid=session_id, now=timezone.now())
        return with_etag(held_body(session), session.version)

    @extend_schema(operation_id="session_update", request=SessionIn, responses={200: RecordedOut})
    def patch(self, request: Request, session_id: uuid.UUID) -> Response:
        """RFC 7396 merge patch; arrays are replaced whole. Needs If-Match."""
        expected = self.expected_version()
        standing = session_for(self.actor, session_id)
        merged = self.merged(SessionIn, held_body(standing))
        return self._record(merged | {"client": standing.client.uid}, session_id, expected)

    @extend_schema(operation_id="session_delete", parameters=[DeleteQuery], responses={204: None})
    def delete(self, request: Request, session_id: uuid.UUID) -> Response:
        """Take a session back for good; its id answers 410 from then on. Needs If-Match.

        So does an id whose post has not come in yet: a device that had no answer names version 1.
        """
        delete_session(
            actor=self.actor,
            session_uid=self.client_made(session_id),
            expected_version=self.expected_version(),
            now=timezone.now(),
            client_uid=self.checked_query(DeleteQuery).get("client"),
        )
        return Response(status=204)

    def shown(self, record: Session) -> Shown:
        return shown_session(self.actor, record)

    def _record(self, data: dict[str, Any], session_id: uuid.UUID, expected: int | None) -> Response:
        actor = self.actor
        client = written_by(self.request, data.get("client"))
        recorded = record_session(
            actor=actor,
            client=client,
            entry=session_entry(data, session_id),
            now=timezone.now(),
            expected_version=expected,
        )
        is_stored_now = recorded.outcome is not Outcome.REPLAYED
        stored = recorded.session if is_stored_now else session_for(actor, session_id)
        shown = held_body(stored)
        body = {"session": shown, "urgent": [UrgentOut(notice).data for notice in recorded.urgent]}
        self.is_edit = recorded.outcome is Outcome.UPDATED
        return with_etag(body, stored.version, status=STATUS_OF_OUTCOME[recorded.outcome], shown=shown)


class SessionBatchView(CountedPost):
    is_repeatable = True
    tags: Mapping[uuid.UUID, str]

    @extend_schema(operation_id="session_put_batch", request=BatchIn, responses={200: BatchOut})
    def post(self, request: Request) -> Response:
        """Store up to 100 sessions, each on its own: one result per item, in order.

        A device removes an item from its queue on 200, 201, 410 and 422 (and shows the last), parks 403, 404,
        409 and 412 for a person, and keeps it on 5xx, 429 or no answer.
        """
        items, client_uid = batch_envelope(request.data)
        client = written_by(request, client_uid)
        checked = [checked_item(item) for item in items]
        valid = [(index, row) for index, row in enumerate(checked) if isinstance(row, dict)]
        entries = [session_entry(row, row["id"]) for _, row in valid]
        results = record_batch(actor=self.actor, client=client, entries=entries, now=timezone.now())
        by_index = {index: result for (index, _), result in zip(valid, results, strict=True)}
        self.tags = tags_of(result.recorded for result in results if result.recorded is not None)
        answers = [
            self._stored_item(index, items[index], by_index[index])
            if isinstance(row, dict)
            else refused_item(index, items[index], row)
            for index, row in enumerate(checked)
        ]
        self.statuses = [answer["status"] for answer in answers]
        return Response({"items": answers})

    def shown(self, record: Session) -> Shown:
        return shown_session(self.actor, record)

    def _stored_item(self, index: int, item: Any, result: BatchItem) -> dict[str, Any]:
        answer: dict[str, Any] = {"index": index, "id": item["id"]}
        if result.recorded is not None:
            answer["status"] = STATUS_OF_OUTCOME[result.recorded.outcome]
            answer["etag"] = self.tags[result.recorded.session.uid]
            answer["urgent"] = [UrgentOut(notice).data for notice in result.recorded.urgent]
        elif result.error is not None:
            problem = self._problem(result.error, item)
            answer["status"] = problem.status_code
            answer["problem"] = problem_body(
                problem.code, problem.status_code, str(problem.detail), problem.faults, problem.members
            )
        return answer

    def _problem(self, error: ForbearError, item: Any) -> Problem:
        if isinstance(error, DiffersError):
            return self.conflict(error, sent_as=SessionInBatch(), sent=item)
        return problem_of(error)


class ClientSessionsView(Endpoint):
    query = SessionsQuery

    @extend_schema(operation_id="session_list", responses={200: SessionOut(many=True)})
    def get(self, request: Request, client_id: uuid.UUID) -> Response:
        """A client's sessions, newest stored first, in cursor pages; from and until are of performed_on."""
        opened = open_sessions(actor=self.actor, client_uid=client_id, now=timezone.now())
        mark = Mark(request, self.actor, opened.mark)
        word = mark.word_held()
        if word is not None:
            return mark.unchanged(word)
        found = self.page_rows(opened.rows)
        contents = contents_of(found.rows)
        return mark.tagged(self.page_of(found, [session_body(row, contents[row.id]) for row in found.rows]))


class SetConfirmationView(Endpoint):
    @extend_schema(operation_id="set_confirm", request=None, responses={200: SetOut})
    def post(self, request: Request, set_id: uuid.UUID) -> Response:
        """Say that a load far above what the lift had seen was really lifted; it counts from then on."""
        row = confirm_set(actor=self.actor, set_uid=set_id, now=timezone.now())
        return Response(SetOut(row).data)


def session_entry(data: dict[str, Any], uid: uuid.UUID) -> SessionEntry:
    return SessionEntry(
        uid=uid,
        performed_at=data["performed_at"],
        ended_at=data["ended_at"],
        session_rpe=data["session_rpe"],
        note=data["note"],
        scheduled_session_uid=data["scheduled_session"],
        sets=tuple(_set_entry(row) for row in data["sets"]),
        pain_reports=tuple(pain_entry(row) for row in data["pain_reports"]),
    )


def _set_entry(row: dict[str, Any]) -> SetEntry:
    return SetEntry(
        uid=row["id"],
        exercise_code=row["exercise"],
        kind=row["kind"],
        side=row["side"],
        load_thousandths=row["load"],
        load_unit=row["load_unit"],
        reps=row["reps"],
        duration_s=row["duration_s"],
        rir=row["rir"],
        ended_by=row["ended_by"],
        tempo=row["tempo"],
        rest_s=row["rest_s"],
        follows_previous=row["follows_previous"],
        prescription_uid=row["prescription"],
        guessed_rir=row["guessed_rir"],
        guessed_after_reps=row["guessed_after_reps"],
    )


def checked_item(item: Any) -> dict[str, Any] | SessionInBatch:
    """The item as validated, or the serializer that says what is wrong with it."""
    found = quick_item(item)
    if found is not None:
        return found
    checked = SessionInBatch(data=item)
    return dict(checked.validated_data) if checked.is_valid() else checked


def tags_of(recorded: Iterable[Recorded]) -> dict[uuid.UUID, str]:
    """The ETags of sessions that were stored just now, as they are held, and of the others as they stand."""
    held: dict[bool, dict[uuid.UUID, Session]] = {False: {}, True: {}}
    for each in recorded:
        held[each.outcome is Outcome.REPLAYED][each.session.uid] = each.session
    stored, standing = held[False], [row for uid, row in held[True].items() if uid not in held[False]]
    again = sessions_with_content(standing) if standing else []
    return {row.uid: tag_of(row.version, held_body(row)) for row in [*stored.values(), *again]}


def batch_envelope(data: Any) -> tuple[list[Any], uuid.UUID | None]:
    """The items and the client named beside them; a faulty envelope refuses the whole batch."""
    if not isinstance(data, dict) or not isinstance(data.get("items"), list):
        raise Problem("bad_envelope", 400, 'A batch is an object with an array "items".')
    unknown = set(data) - {"items", "client"}
    if unknown:
        raise Problem("unknown_key", 400, f"The envelope does not know {sorted(unknown)[0]!r}.")
    if len(data["items"]) > MAX_BATCH:
        raise Problem("too_many_sessions", 413, f"A batch holds at most {MAX_BATCH} sessions.")
    if "client" not in data:
        return data["items"], None
    try:
        return data["items"], IdField().to_internal_value(data["client"])
    except serializers.ValidationError:
        raise Problem("bad_envelope", 400, '"client" is not an id.') from None


def shown_session(actor: Actor, record: Session) -> Shown:
    session = read_session(actor=actor, session_uid=record.uid, now=timezone.now())
    return Shown(session.version, held_body(session))


def refused_item(index: int, item: Any, checked: SessionInBatch) -> dict[str, Any]:
    named = str(item.get("id", "")) if isinstance(item, dict) else ""
    faults = faults_of(serializers.ValidationError(checked.errors))
    problem = problem_body("invalid", 422, "Some fields are not acceptable.", faults)
    return {"index": index, "id": named[:36], "status": 422, "problem": problem}


urlpatterns = [
    path("sessions/batch", SessionBatchView.as_view()),
    path("sessions/<made:session_id>", SessionView.as_view()),
    path("sets/<uuid:set_id>/confirmation", SetConfirmationView.as_view()),
    path("clients/<uuid:client_id>/sessions", ClientSessionsView.as_view()),
]
