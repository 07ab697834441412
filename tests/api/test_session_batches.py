import uuid

import pytest

from coaching.models import JointDay, LiftDay, Session
from tests.bodies import pain_body, session_body, set_body


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


def test_a_batch_costs_a_fixed_number_of_queries(app, django_assert_max_num_queries):
    with django_assert_max_num_queries(40):
        post(app, [item() for _ in range(5)])


def test_an_urgent_notice_comes_with_its_item(app):
    flagged = item(pain_reports=[pain_body(id=str(uuid.uuid4()), symptoms={"swollen_calf": "yes"})])
    answer = post(app, [item(), flagged])
    assert [len(row["urgent"]) for row in answer.json()["items"]] == [0, 1]
