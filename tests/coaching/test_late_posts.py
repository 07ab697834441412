"""Posts that come in another order than they were made end in the same days, nights and alerts."""

import random
import uuid
from datetime import UTC, date, datetime, timedelta

import pytest

from coaching.budget import Budget
from coaching.models import JointDay, LiftDay, Score
from coaching.nightly import run_due_nights
from tests.bodies import pain_body, session_body, set_body

FIRST = date(2026, 3, 2)
DAYS = 6


def posts():
    """Eight sessions with pain, a report on its own, an edit and a deletion, each on its day."""
    uids = [uuid.UUID(int=number + 1) for number in range(8)]
    made = []
    for number, uid in enumerate(uids):
        day = FIRST + timedelta(days=number // 2)
        hour = 10 + 8 * (number % 2)
        body = session_body(
            performed_at=f"{day}T{hour}:00:00+01:00",
            ended_at=None,
            sets=[set_body(id=str(uuid.UUID(int=100 + number)), load=80 + number)],
            pain_reports=[
                pain_body(
                    id=str(uuid.UUID(int=200 + number)),
                    pain=number % 7,
                    reported_at=f"{day}T{hour}:40:00+01:00",
                )
            ],
        )
        made.append(("put", f"/api/v1/sessions/{uid}", body))
    morning = pain_body(moment="next_morning", pain=5, reported_at="2026-03-04T07:00:00+01:00")
    made.append(("put", f"/api/v1/pain-reports/{uuid.UUID(int=300)}", morning))
    made.append(("delete", f"/api/v1/sessions/{uids[3]}", None))
    return made


def follow(time_machine, writers):
    """Each app's posts, two a day in their order, and the nights between."""
    for step in range(DAYS):
        night = datetime(2026, 3, 7, 4, tzinfo=UTC) + timedelta(days=step)
        time_machine.move_to(night, tick=False)
        run_due_nights(now=night, budget=Budget.of(60))
        time_machine.move_to(night + timedelta(hours=12), tick=False)
        for app, order in writers:
            for method, address, body in order[2 * step : 2 * step + 2]:
                headers = {"If-Match": '"1"'} if method == "delete" else {}
                answer = getattr(app, method)(address, body, format="json", headers=headers)
                assert answer.status_code in (201, 204, 410), answer.content


def outcome(client):
    days = JointDay.objects.filter(client=client).order_by("day_on", "joint", "side")
    lifts = LiftDay.objects.filter(client=client).order_by("day_on", "exercise__code", "side")
    score = Score.objects.filter(client=client).order_by("night_on", "revision").last()
    return (
        list(days.values_list("day_on", "joint", "side", "joint_reps", "joint_load_kg", "pain")),
        list(lifts.values_list("day_on", "exercise__code", "e1rm_kg", "best_load_kg", "work_sets")),
        (score.night_on, score.details, score.adherence_low, score.adherence_high),
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_any_order_ends_in_what_the_right_order_ends_in(cast, signed_in, time_machine, seed):
    time_machine.move_to("2026-03-06T20:00:00Z", tick=False)
    shuffled = posts()
    random.Random(seed).shuffle(shuffled)
    follow(time_machine, [(signed_in(cast.strangers_client), posts()), (signed_in(cast.client), shuffled)])
    assert outcome(cast.client) == outcome(cast.strangers_client)
    assert len(outcome(cast.client)[0]) > 4
