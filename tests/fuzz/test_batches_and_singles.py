"""A batch, its halves, its items twice or in another order: the same database as one request for each."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coaching.models import Alert, Change, JointDay, LiftDay, LoggedSet, PainReport, ScheduledSession, Session
from coaching.operations.assignments import assign_plan
from tests.bodies import pain_body, set_body
from tests.fuzz.ledger import Body
from tests.plan_builders import actor_of, knee_lift, plan_by

NOW = datetime(2026, 3, 16, 20, 0, tzinfo=UTC)
MONDAY = date(2026, 3, 2)
MANY = 1000
SOME = 40
# No load is more than half above another, so none is held back for what came in before it.
CALM_LOADS = [80, 90.5, 100, 110]
ANY_LOADS = [40, 80, 100, 160, 400]

COLUMNS: dict[Any, list[str]] = {
    Session: ["uid", "performed_on", "scheduled_session__uid", "work_reps", "content_hash", "version"],
    LoggedSet: ["uid", "session__uid", "position", "load_thousandths", "is_to_confirm"],
    PainReport: ["uid", "session__uid", "felt_on", "pain", "content_hash"],
    JointDay: ["day_on", "joint", "side", "joint_reps", "joint_load_kg", "pain"],
    LiftDay: ["day_on", "exercise__code", "side", "e1rm_kg", "best_load_kg", "work_sets"],
    Alert: ["kind", "target", "status"],
}


@pytest.fixture(autouse=True)
def evening(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def app(cast, signed_in):
    """The client's app, in the second week of a plan whose sessions a log may answer."""
    plan = plan_by(cast.coach, knee_lift())
    assign_plan(
        actor=actor_of(cast.coach), client_uid=cast.client.uid, plan_uid=plan.uid, starts_on=MONDAY,
        override_reason="Agreed.", now=NOW - timedelta(days=14),
    )  # fmt: skip
    return signed_in(cast.client)


@st.composite
def session_items(draw: st.DrawFn, loads: list[float], scheduled: bool) -> Body:
    def uid() -> str:
        return str(draw(st.uuids(version=4)))

    at = datetime(2026, 3, draw(st.integers(1, 14)), draw(st.integers(6, 22)), tzinfo=UTC)
    felt = {"reported_at": at.isoformat(), "moment": draw(st.sampled_from(["during", "after"]))}
    known = ["back_squat", "hack_squat_invented"]
    exercises = st.sampled_from([*known, "no_such_lift"] if scheduled else known)
    return {
        "id": uid(),
        "performed_at": at.isoformat(),
        "sets": [
            set_body(id=uid(), exercise=draw(exercises), load=load, reps=draw(st.integers(1, 8)))
            for load in draw(st.lists(st.sampled_from(loads), max_size=3))
        ],
        "pain_reports": [
            pain_body(id=uid(), pain=pain, **felt) for pain in draw(st.lists(st.integers(0, 9), max_size=1))
        ],
        "scheduled_session": draw(st.sampled_from([None, None, 0, 1, 2])) if scheduled else None,
    }


def named(items: list[Body]) -> list[Body]:
    """The items with the ids of the scheduled sessions that they name by their place."""
    rows = list(ScheduledSession.objects.order_by("due_on"))
    return [
        item | {"scheduled_session": None if place is None else str(rows[place].uid)}
        for item in items
        for place in [item["scheduled_session"]]
    ]


def singly(app: Any, items: list[Body]) -> None:
    for item in items:
        body = {key: value for key, value in item.items() if key != "id"}
        answer = app.put(f"/api/v1/sessions/{item['id']}", body, format="json")
        assert answer.status_code in (200, 201, 422), answer.content


def together(app: Any, *batches: list[Body]) -> None:
    for items in batches:
        answer = app.post("/api/v1/sessions/batch", {"items": items}, format="json")
        assert {row["status"] for row in answer.json()["items"]} <= {200, 201, 422}, answer.content


def left_by(send: Any, *args: Any) -> list[Any]:
    """All that a device's requests leave behind, without the keys that tell the order of receipt."""
    with transaction.atomic():
        send(*args)
        found = [sorted(model.objects.values_list(*columns), key=repr) for model, columns in COLUMNS.items()]
        told = Change.objects.exclude(kind="alert").values_list("kind", "record_uid", "is_deleted")
        rows = [*found, sorted(told, key=repr)]
        transaction.set_rollback(True)
    return rows


def check_orders(app: Any, examples: int) -> None:
    @settings(max_examples=examples, suppress_health_check=list(HealthCheck))
    @given(items=st.lists(session_items(ANY_LOADS, True), min_size=1, max_size=5), cut=st.integers(0, 5))
    def a_batch_and_its_parts(items: list[Body], cut: int) -> None:
        items = named(items)
        alone = left_by(singly, app, items)
        assert left_by(together, app, items) == alone
        assert left_by(together, app, items[:cut], items[cut:], items) == alone
        assert left_by(together, app, [*items, *items[:cut]]) == alone

    a_batch_and_its_parts()


def check_permutations(app: Any, examples: int) -> None:
    @settings(max_examples=examples, suppress_health_check=list(HealthCheck))
    @given(items=st.lists(session_items(CALM_LOADS, False), min_size=2, max_size=5), data=st.data())
    def any_order(items: list[Body], data: st.DataObject) -> None:
        turned = data.draw(st.permutations(items))
        alone = left_by(singly, app, items)
        assert left_by(singly, app, turned) == alone
        assert left_by(together, app, [*turned, *items]) == alone

    ScheduledSession.objects.all().delete()
    any_order()


def test_a_batch_its_parts_and_its_repetitions_leave_what_single_requests_leave(app):
    check_orders(app, SOME)


def test_any_order_leaves_the_same_where_no_load_is_held_back(app):
    check_permutations(app, SOME)


@pytest.mark.long
def test_many_batches_in_any_order_leave_what_single_requests_leave(app):
    check_orders(app, MANY)
    check_permutations(app, MANY)
