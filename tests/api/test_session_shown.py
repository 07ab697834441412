"""Sessions are shown by hand exactly as their serializer would, fresh from a post and read again."""

import json
import uuid
from datetime import date

import pytest
from rest_framework.utils.encoders import JSONEncoder

from api.session_body import held_body as shown
from api.sessions import SessionOut
from coaching.models import ScheduledSession, Session
from coaching.operations.assignments import assign_plan
from coaching.reads.sessions import sessions_with_content
from tests.bodies import pain_body, session_body, set_body, version_of
from tests.factories import NOW
from tests.plan_builders import actor_of, knee_lift, plan_by


@pytest.fixture
def app(cast, signed_in):
    return signed_in(cast.client)


def put(app, body, uid, **headers):
    return app.put(f"/api/v1/sessions/{uid}", body, format="json", **headers)


def as_sent(body):
    return json.loads(json.dumps(body, cls=JSONEncoder))


def bodies(cast):
    """Of every kind: planned and not, with and without each thing that may be left out."""
    plan = plan_by(cast.coach, knee_lift(), weekdays=(0,), weeks=1, deload_weeks=())
    assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan.uid,
        starts_on=date(2026, 3, 2),
        override_reason="",
        now=NOW,
    )
    scheduled = ScheduledSession.objects.get()
    asked = scheduled.plan_day.blocks.get().prescriptions.get()
    planned = set_body(exercise=asked.exercise.code, prescription=str(asked.uid))
    odd_set = set_body(
        load=62.505,
        load_unit="lb",
        rir=0.5,
        guessed_rir=2,
        guessed_after_reps=3,
        tempo="3-1-X-0",
        rest_s=90,
        ended_by="failure",
        follows_previous=True,
        kind="warm_up",
        side="left",
    )
    hold = set_body(exercise="wall_sit", reps=None, rir=None, duration_s=40)
    told = pain_body(
        id=str(uuid.uuid4()),
        joint="other",
        other_site="Kiefer",
        symptoms={"night_pain": "no", "swollen_calf": "yes"},
        note="Größer.\nSpäter.",
        explanation="Fell.",
    )
    return [
        session_body(sets=[planned, odd_set, hold], pain_reports=[told], session_rpe=7.5, note="Ünder."),
        session_body(performed_at="2026-02-20T23:30:00.123456-05:00", ended_at=None, pain_reports=[]),
        session_body(sets=[], performed_at="2026-02-10T18:00:00Z", ended_at=None),
    ]


def test_a_session_is_shown_as_its_serializer_shows_it(app, cast):
    for body in bodies(cast):
        assert put(app, body, uuid.uuid4()).status_code == 201
    rows = list(sessions_with_content(Session.objects.all()))
    assert [as_sent(shown(row)) for row in rows] == [as_sent(SessionOut(row).data) for row in rows]
    assert {row.scheduled_session_id is None for row in rows} == {True, False}


def test_what_a_post_is_answered_is_what_is_read_afterwards(app, cast):
    for body in bodies(cast):
        uid = uuid.uuid4()
        answer = put(app, body, uid)
        read = app.get(f"/api/v1/sessions/{uid}")
        assert (answer.json()["session"], answer["ETag"]) == (read.json(), read["ETag"])


def test_what_an_edit_is_answered_is_what_is_read_afterwards(app, cast):
    uid = uuid.uuid4()
    first = put(app, session_body(), uid)
    for body in bodies(cast):
        answer = put(app, body, uid, HTTP_IF_MATCH=version_of(first))
        read = app.get(f"/api/v1/sessions/{uid}")
        assert (answer.json()["session"], answer["ETag"]) == (read.json(), read["ETag"])
        first = answer


def test_the_tags_of_a_batch_are_those_of_what_is_read_afterwards(app, cast):
    items = [body | {"id": str(uuid.uuid4())} for body in bodies(cast)]
    for status in (201, 200):
        answers = app.post("/api/v1/sessions/batch", {"items": items}, format="json").json()["items"]
        assert [row["status"] for row in answers] == [status] * len(items)
        for row in answers:
            assert app.get(f"/api/v1/sessions/{row['id']}")["ETag"] == row["etag"]
