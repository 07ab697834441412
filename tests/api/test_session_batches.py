import uuid
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import JointDay, LiftDay, LoggedSet, ScheduledSession, Session
from coaching.operations.assignments import assign_plan
from tests.bodies import pain_body, session_body, set_body
from tests.factories import NOW
from tests.plan_builders import actor_of, knee_lift, plan_by


@pytest.fixture
def app(cast, signed_in):
    return signed_in(cast.client)


def item(**changes):
    return session_body(**changes) | {"id": str(uuid.uuid4())}


def post(app, items, **envelope):
    return app.post("/api/v1/sessions/batch", {"items": items} | envelope, format="json")


def statuses(answer):
    return [row["status"] for row in answer.json()["items"]]


def test_every_item_gets_its_own_result_in_order(app):
    assert statuses(post(app, [item(), item()])) == [201, 201]
    assert Session.objects.count() == 2


def test_one_bad_item_does_not_cost_the_others(app):
    items = [item(), item(sets=[set_body(load=-1)]), item()]
    answer = post(app, items)
    assert statuses(answer) == [201, 422, 201]
    assert answer.json()["items"][1]["problem"]["errors"][0]["pointer"] == "/sets/0/load"
    assert Session.objects.count() == 2


def test_an_unknown_exercise_costs_only_its_own_item(app):
    answer = post(app, [item(), item(sets=[set_body(exercise="no_such_lift")])])
    assert statuses(answer) == [201, 422]
    assert answer.json()["items"][1]["problem"]["errors"][0]["pointer"] == "/sets/0/exercise"


def test_a_replayed_batch_is_free(app):
    items = [item(), item()]
    post(app, items)
    assert statuses(post(app, items)) == [200, 200]
    assert Session.objects.count() == 2


def test_the_same_id_twice_in_one_batch_is_stored_once(app):
    one = item()
    assert statuses(post(app, [one, one, one | {"note": "other"}])) == [201, 200, 409]


def test_a_set_id_shared_by_two_items_costs_only_the_second(app):
    row = set_body()
    answer = post(app, [item(sets=[row], pain_reports=[]), item(sets=[row], pain_reports=[])])
    assert statuses(answer) == [201, 409]


def test_a_batch_stores_what_single_posts_would(app, cast, signed_in):
    bodies = [
        item(
            performed_at=f"2026-03-0{day}T18:00:00+01:00",
            ended_at=None,
            pain_reports=[pain_body(id=str(uuid.uuid4()), pain=day)],
        )
        for day in (1, 2, 3)
    ]
    post(app, bodies)
    together = sorted(JointDay.objects.values_list("day_on", "joint", "side", "joint_reps", "pain"))
    lifts = sorted(LiftDay.objects.values_list("day_on", "e1rm_kg"))
    stranger = signed_in(cast.strangers_client)
    for body in bodies:
        stranger.put(
            f"/api/v1/sessions/{body['id']}", {k: v for k, v in body.items() if k != "id"}, format="json"
        )
    alone = JointDay.objects.filter(client=cast.strangers_client)
    assert sorted(alone.values_list("day_on", "joint", "side", "joint_reps", "pain")) == together
    assert (
        sorted(LiftDay.objects.filter(client=cast.strangers_client).values_list("day_on", "e1rm_kg")) == lifts
    )


BAD_ENVELOPES = [
    ({}, 400),
    ([], 400),
    ({"items": 3}, 400),
    ({"items": [], "x": 1}, 400),
    ({"items": [1] * 101}, 413),
]


@pytest.mark.parametrize(("envelope", "status"), BAD_ENVELOPES)
def test_a_faulty_envelope_refuses_the_whole(app, envelope, status):
    assert app.post("/api/v1/sessions/batch", envelope, format="json").status_code == status


def test_items_that_are_no_objects_are_refused_one_by_one(app):
    assert statuses(post(app, [1, None, "x", [], item()])) == [422, 422, 422, 422, 201]


def test_a_batch_costs_as_many_queries_with_many_sessions_as_with_few(app):
    post(app, [item()])
    counts = []
    for number in (5, 20):
        with CaptureQueriesContext(connection) as captured:
            assert statuses(post(app, [item() for _ in range(number)])) == [201] * number
        counts.append(len(captured))
    assert counts[0] == counts[1] <= 27


def test_an_urgent_notice_comes_with_its_item(app):
    flagged = item(pain_reports=[pain_body(id=str(uuid.uuid4()), symptoms={"swollen_calf": "yes"})])
    answer = post(app, [item(), flagged])
    assert [len(row["urgent"]) for row in answer.json()["items"]] == [0, 1]


def on(day, load):
    at = {"performed_at": f"2026-03-{day:02}T18:00:00+01:00", "ended_at": None}
    return item(**at, sets=[set_body(load=load)], pain_reports=[])


def test_a_load_is_held_against_what_came_before_its_own_date(app):
    post(app, [on(10, 100), on(3, 200), on(12, 320), on(11, 250)])
    held_back = LoggedSet.objects.filter(is_to_confirm=True)
    assert sorted(held_back.values_list("load_thousandths", flat=True)) == [320_000]


def test_a_scheduled_session_that_an_item_names_answers_no_other(app, cast):
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
    post(app, [on(2, 100) | {"scheduled_session": str(scheduled.uid)}, on(3, 100)])
    assert Session.objects.filter(scheduled_session=scheduled).count() == 1


def test_a_batch_sent_again_says_again_what_is_urgent(app):
    flagged = item(pain_reports=[pain_body(id=str(uuid.uuid4()), symptoms={"swollen_calf": "yes"})])
    first = post(app, [item(), flagged]).json()["items"]
    again = post(app, [item(), flagged]).json()["items"]
    assert again[1]["status"] == 200
    assert again[1]["urgent"] == first[1]["urgent"] != []
