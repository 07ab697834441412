"""Which scheduled session a log answers: matched when posted, kept when edited, free when taken back."""

import uuid
from datetime import date

import pytest
from django.core.management import CommandError, call_command

from coaching.models import Session
from coaching.operations.assignments import assign_plan
from tests.bodies import session_body
from tests.factories import NOW
from tests.plan_builders import actor_of, knee_lift, plan_by

MONDAY = date(2026, 3, 2)


@pytest.fixture
def app(cast, signed_in):
    """The client's app; the client is to train on Mondays and Thursdays."""
    plan = plan_by(cast.coach, knee_lift())
    assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan.uid,
        starts_on=MONDAY,
        override_reason="",
        now=NOW,
    )
    return signed_in(cast.client)


def put(app, uid, version=None, day="2026-03-02", **changes):
    body = session_body(performed_at=f"{day}T18:00:00+01:00", ended_at=None, pain_reports=[], **changes)
    headers = {"HTTP_IF_MATCH": f'"{version}"'} if version else {}
    answer = app.put(f"/api/v1/sessions/{uid}", body, format="json", **headers)
    assert answer.status_code in (200, 201), answer.data


def due_on(uid):
    scheduled = Session.objects.get(uid=uid).scheduled_session
    return scheduled and scheduled.due_on


def test_a_log_answers_the_session_of_its_day(app):
    uid = uuid.uuid4()
    put(app, uid)
    assert due_on(uid) == MONDAY


def test_a_log_within_two_days_answers_the_nearest_session_without_one(app):
    uid = uuid.uuid4()
    put(app, uid, day="2026-03-04")
    assert due_on(uid) == date(2026, 3, 5)


def test_a_second_log_of_a_day_answers_nothing_that_is_answered(app):
    first, second = uuid.uuid4(), uuid.uuid4()
    put(app, first)
    put(app, second)
    assert due_on(second) is None


def test_an_edit_keeps_the_session_that_the_log_answers(app):
    uid = uuid.uuid4()
    put(app, uid)
    put(app, uid, version=1, note="windy")
    assert due_on(uid) == MONDAY


def test_a_log_that_was_taken_back_leaves_its_session_to_the_next(app):
    first, second = uuid.uuid4(), uuid.uuid4()
    put(app, first)
    app.delete(f"/api/v1/sessions/{first}", HTTP_IF_MATCH='"1"')
    put(app, second)
    assert due_on(second) == MONDAY


def test_no_night_is_run_ahead(cast):
    with pytest.raises(CommandError, match="no night is run ahead") as refusal:
        call_command("night", on=date(2090, 1, 1))
    assert refusal.value.returncode == 2
