"""A client does an alternative instead of the prescribed exercise: it counts for the prescription."""

import uuid
from dataclasses import replace

import pytest
import time_machine

from coaching.models import Exercise, LoggedSet, Prescription, Restriction, ScheduledSession
from coaching.operations.plans import write_plan
from tests.bodies import session_body, set_body
from tests.factories import NOW, ExerciseFactory, InjuryFactory
from tests.plan_builders import actor_of, knee_lift, plan_content

ALTERNATIVE = "belt_squat_invented"


@pytest.fixture(autouse=True)
def monday_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def plan(cast):
    lift = knee_lift()
    ExerciseFactory(code=ALTERNATIVE, movement_pattern="hinge")
    content = plan_content(lift, weekdays=(0,), weeks=1, deload_weeks=())
    block = content.days[0].blocks[0]
    prescription = replace(block.prescriptions[0], alternatives=(ALTERNATIVE,))
    day = replace(content.days[0], blocks=(replace(block, prescriptions=(prescription,)),))
    return write_plan(actor=actor_of(cast.coach), content=replace(content, days=(day,)), now=NOW).plan


def assign(api, client, plan, **more):
    body = {"plan": str(plan.uid), "starts_on": "2026-03-02"} | more
    return api.post(f"/api/v1/clients/{client.uid}/assignments", body, format="json")


def test_set_of_an_alternative_counts_for_its_prescription_and_its_day(cast, signed_in, plan):
    assert assign(signed_in(cast.coach), cast.client, plan).status_code == 201
    asked = Prescription.objects.get()
    done = set_body(exercise=ALTERNATIVE, prescription=str(asked.uid))
    body = session_body(sets=[done], performed_at="2026-03-02T10:00:00Z", ended_at=None, pain_reports=[])
    answer = signed_in(cast.client).put(f"/api/v1/sessions/{uuid.uuid4()}", body, format="json")
    assert answer.status_code == 201, answer.data
    row = LoggedSet.objects.get()
    assert (row.exercise.code, row.prescription) == (ALTERNATIVE, asked)
    assert row.session.scheduled_session == ScheduledSession.objects.get()


def test_calendar_shows_what_may_be_swapped_to(cast, signed_in, plan):
    assign(signed_in(cast.coach), cast.client, plan)
    address = f"/api/v1/clients/{cast.client.uid}/scheduled-sessions?from=2026-03-02&until=2026-03-02"
    day = signed_in(cast.client).get(address).json()["items"][0]["day"]
    assert day["blocks"][0]["prescriptions"][0]["alternatives"] == [ALTERNATIVE]


@pytest.mark.parametrize("kind", ["avoid_exercise", "avoid_pattern"])
def test_alternative_that_is_to_be_avoided_needs_a_reason(cast, signed_in, plan, kind):
    exercise = Exercise.objects.get(code=ALTERNATIVE)
    what = {"exercise": exercise} if kind == "avoid_exercise" else {"movement_pattern": "hinge"}
    Restriction.objects.create(
        practice=cast.practice,
        injury=InjuryFactory(client=cast.client, status="settled"),
        kind=kind,
        from_on="2026-01-01",
        said_by="clinician",
        **what,
    )
    api = signed_in(cast.coach)
    assert assign(api, cast.client, plan).json()["errors"][0]["code"] == "restricted"
    assert assign(api, cast.client, plan, override_reason="Half range only").status_code == 201
