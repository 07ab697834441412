"""Exercises: the shared catalogue, a practice's own entries, and what they ask of each joint."""

import re
import uuid
from decimal import Decimal
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Endpoint, with_etag
from api.etags import Shown
from api.fields import CodeField, FlagField, NumberField, StrictSerializer, TextField
from api.listing import ListQuery
from api.permissions import IsCoach
from coaching.models import STRESS_LEVELS, Client, Exercise, JointStress, LoadBasis, Measure
from coaching.operations.audit import record_reads
from coaching.operations.exercises import (
    STRESSED_JOINTS,
    ExerciseContent,
    StressJudgement,
    add_exercise,
    drop_stress,
    set_stress,
)
from coaching.reads.catalogue import (
    exercise_entries,
    exercise_entry,
    exercises_known_to,
)
from coaching.reads.clients import client_for

CODE = re.compile(r"[a-z0-9][a-z0-9_]*", re.ASCII)
STEP = re.compile(r"\d{1,3}(\.\d{1,3})?", re.ASCII)
MAX_MUSCLES = 12


class ExerciseCodeField(TextField):
    """Lower-case letters, digits and underscores."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=60, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        code = super().to_internal_value(data)
        if not CODE.fullmatch(code):
            raise serializers.ValidationError(
                "Write it in lower-case letters, digits and underscores.", code="invalid"
            )
        return code


class StepField(TextField):
    """An exact decimal as text, like "2.5", to a thousandth."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=7, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        text = super().to_internal_value(data)
        if not STEP.fullmatch(text):
            raise serializers.ValidationError('Give the step as text, like "2.5".', code="invalid")
        return text


class StressField(NumberField):
    def to_internal_value(self, data: Any) -> float:
        stress = super().to_internal_value(data)
        if stress not in STRESS_LEVELS:
            raise serializers.ValidationError("Stress is 0, 0.25, 0.5 or 1.", code="invalid_choice")
        return stress


class StressIn(StrictSerializer):
    stress = StressField()
    reason = TextField(max_length=300)


class JointStressIn(StressIn):
    joint = CodeField(choices=STRESSED_JOINTS)


class MusclesIn(StrictSerializer):
    direct = serializers.ListField(child=TextField(max_length=30), max_length=MAX_MUSCLES)
    indirect = serializers.ListField(child=TextField(max_length=30), max_length=MAX_MUSCLES)


class ExerciseIn(StrictSerializer):
    code = ExerciseCodeField()
    name = TextField(max_length=120)
    equipment = TextField(max_length=30)
    load_basis = CodeField(choices=LoadBasis.values)
    load_step_kg = StepField(help_text='The smallest step the equipment can do, as exact text: "2.5".')
    load_step_lb = StepField(
        allow_null=True,
        default=None,
        help_text=(
            "The step where the equipment is marked in pounds. Left out, it follows the kilograms: a "
            "multiple of 2.5 lb up to 1.25 kg, of 5 lb above (coach judgement)."
        ),
    )
    movement_pattern = TextField(max_length=30)
    measure = CodeField(choices=Measure.values, default=Measure.REPS)
    is_compound = FlagField(default=False)
    is_one_sided = FlagField(default=False)
    muscles = MusclesIn()
    stress = serializers.ListField(child=JointStressIn(), max_length=len(STRESSED_JOINTS))


class ExerciseQuery(ListQuery):
    orders = ("code", "name")
    narrowed_by_read = frozenset({"joint"})

    equipment = TextField(max_length=30, required=False)
    movement_pattern = TextField(max_length=30, required=False)
    muscle = TextField(max_length=30, required=False)
    joint = CodeField(choices=STRESSED_JOINTS, required=False)


class StressOut(serializers.Serializer[Any]):
    joint = serializers.CharField()
    stress = serializers.FloatField()
    reason = serializers.CharField()
    basis = serializers.CharField(help_text="coach_judgement: no measurement stands behind it.")
    source = serializers.CharField(  # type: ignore[assignment]  # a field of this name, not DRF's attribute
        help_text="catalogue, practice or client: whose judgement stands."
    )
    version = serializers.IntegerField(
        allow_null=True, help_text="For If-Match; null for the catalogue's, which is not edited."
    )


class MusclesOut(serializers.Serializer[Any]):
    direct = serializers.ListField(child=serializers.CharField(), source="direct_muscles")
    indirect = serializers.ListField(child=serializers.CharField(), source="indirect_muscles")


class ExerciseOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    name = serializers.CharField()
    equipment = serializers.CharField()
    load_basis = serializers.CharField()
    load_step_kg = serializers.DecimalField(max_digits=9, decimal_places=3, normalize_output=True)
    load_step_lb = serializers.DecimalField(max_digits=9, decimal_places=3, normalize_output=True)
    movement_pattern = serializers.CharField()
    measure = serializers.CharField()
    is_compound = serializers.BooleanField()
    is_one_sided = serializers.BooleanField()
    source = serializers.CharField(  # type: ignore[assignment]  # a field of this name, not DRF's attribute
        help_text="catalogue or practice."
    )
    muscles = MusclesOut(source="*")
    stress = StressOut(many=True)
    alternatives = serializers.ListField(
        child=serializers.CharField(),
        help_text="Codes of what the catalogue proposes instead, the nearest first (coach judgement).",
    )


class ExercisesView(Endpoint):
    query = ExerciseQuery

    @extend_schema(operation_id="exercise_list", responses={200: ExerciseOut(many=True)})
    def get(self, request: Request) -> Response:
        """A page of the shared catalogue and the practice's own exercises."""
        practice_id = self.actor.practice_id
        found = self.page_rows(exercises_known_to(practice_id, joint=self.asked.get("joint")))
        entries = exercise_entries(practice_id=practice_id, exercises=found.rows)
        return self.page_of(found, [ExerciseOut(entries[row.id]).data for row in found.rows])

    @extend_schema(
        operation_id="exercise_create", request=ExerciseIn, responses={200: ExerciseOut, 201: ExerciseOut}
    )
    def post(self, request: Request) -> Response:
        """Add an exercise of the practice's own; its words are those of the catalogue."""
        content = _content(self.checked(ExerciseIn))
        kept = add_exercise(actor=self.actor, content=content, now=timezone.now())
        entry = exercise_entry(practice_id=self.actor.practice_id, code=content.code)
        return Response(ExerciseOut(entry).data, status=201 if kept.is_new else 200)

    def shown(self, record: Exercise) -> Shown:
        entry = exercise_entry(practice_id=self.actor.practice_id, code=record.code)
        return Shown(None, ExerciseOut(entry).data)


class ExerciseView(Endpoint):
    @extend_schema(operation_id="exercise_get", responses={200: ExerciseOut})
    def get(self, request: Request, code: str) -> Response:
        """One exercise, with the joint stress that stands for the practice."""
        entry = exercise_entry(practice_id=self.actor.practice_id, code=code)
        return Response(ExerciseOut(entry).data)


JOINT = OpenApiParameter("joint", str, OpenApiParameter.PATH, enum=STRESSED_JOINTS)


class StressView(Endpoint):
    """Another judgement in place of one's own needs its version; taking it back does as well."""

    def put_stress(self, code: str, joint: str, client: Client | None) -> Response:
        kept = set_stress(
            actor=self.actor,
            code=code,
            judgement=StressJudgement(joint=joint, **self.checked(StressIn)),
            client=client,
            expected_version=self.named_version(),
            now=timezone.now(),
        )
        entry = exercise_entry(practice_id=self.actor.practice_id, code=code, client=client)
        body, status = ExerciseOut(entry).data, 201 if kept.is_new else 200
        shown = self.shown(kept.row).body
        return with_etag(body, kept.row.version, status=status, shown=shown)

    def drop(self, code: str, joint: str, client: Client | None) -> Response:
        drop_stress(
            actor=self.actor,
            code=code,
            joint=joint,
            client=client,
            expected_version=self.expected_version(),
            now=timezone.now(),
        )
        return Response(status=204)

    def shown(self, record: JointStress) -> Shown:
        return Shown(record.version, {"stress": record.stress, "reason": record.reason})


class ExerciseStressView(StressView):
    permission_classes = [IsAuthenticated, IsCoach]

    @extend_schema(
        operation_id="exercise_stress_set",
        parameters=[JOINT],
        request=StressIn,
        responses={200: ExerciseOut, 201: ExerciseOut},
    )
    def put(self, request: Request, code: str, joint: str) -> Response:
        """Put the practice's judgement above the catalogue's; 201 if it is the first."""
        return self.put_stress(code, joint, None)

    @extend_schema(operation_id="exercise_stress_delete", parameters=[JOINT], responses={204: None})
    def delete(self, request: Request, code: str, joint: str) -> Response:
        """Take the practice's judgement back; the catalogue's stands again."""
        return self.drop(code, joint, None)


class ClientExerciseView(Endpoint):
    @extend_schema(operation_id="client_exercise_get", responses={200: ExerciseOut})
    def get(self, request: Request, client_id: uuid.UUID, code: str) -> Response:
        """One exercise, with the joint stress that stands for this client."""
        client = client_for(self.actor, client_id)
        entry = exercise_entry(practice_id=client.practice_id, code=code, client=client)
        record_reads(
            actor=self.actor, subject_keys=[client.audit_key], record_kind="exercise", now=timezone.now()
        )
        return Response(ExerciseOut(entry).data)


class ClientExerciseStressView(StressView):
    @extend_schema(
        operation_id="client_exercise_stress_set",
        parameters=[JOINT],
        request=StressIn,
        responses={200: ExerciseOut, 201: ExerciseOut},
    )
    def put(self, request: Request, client_id: uuid.UUID, code: str, joint: str) -> Response:
        """Put a judgement for this client above the practice's and the catalogue's; 201 if the first."""
        return self.put_stress(code, joint, client_for(self.actor, client_id))

    @extend_schema(operation_id="client_exercise_stress_delete", parameters=[JOINT], responses={204: None})
    def delete(self, request: Request, client_id: uuid.UUID, code: str, joint: str) -> Response:
        """Take the judgement for this client back."""
        return self.drop(code, joint, client_for(self.actor, client_id))


def _content(checked: dict[str, Any]) -> ExerciseContent:
    muscles = checked.pop("muscles")
    load_step_kg, load_step_lb = checked.pop("load_step_kg"), checked.pop("load_step_lb")
    stress = tuple(StressJudgement(**judgement) for judgement in checked.pop("stress"))
    return ExerciseContent(
        direct_muscles=tuple(muscles["direct"]),
        indirect_muscles=tuple(muscles["indirect"]),
        stress=stress,
        load_step_kg=Decimal(load_step_kg),
        load_step_lb=None if load_step_lb is None else Decimal(load_step_lb),
        **checked,
    )


urlpatterns = [
    path("exercises", ExercisesView.as_view()),
    path("exercises/<slug:code>", ExerciseView.as_view()),
    path("exercises/<slug:code>/stress/<str:joint>", ExerciseStressView.as_view()),
    path("clients/<uuid:client_id>/exercises/<slug:code>", ClientExerciseView.as_view()),
    path(
        "clients/<uuid:client_id>/exercises/<slug:code>/stress/<str:joint>",
        ClientExerciseStressView.as_view(),
    ),
]
