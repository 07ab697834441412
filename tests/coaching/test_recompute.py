"""Roll-ups and scores made anew: as stored where all is well, named and mended where it is not."""

import uuid
from datetime import UTC, date, datetime, timedelta
from functools import partial

import pytest

from coaching.budget import Budget
from coaching.models import Client, JointDay, LiftDay, Score
from coaching.nightly import run_due_nights
from tests.bodies import pain_body, session_body, set_body

FIRST = date(2026, 3, 2)
DAYS = 5


@pytest.fixture
def trained(cast, signed_in, time_machine):
    """Five days of one session with pain each, and the nights between and after."""
    app = signed_in(cast.client)
    for number in range(DAYS):
        day = FIRST + timedelta(days=number)
        night = datetime(day.year, day.month, day.day, 4, tzinfo=UTC)
        time_machine.move_to(night, tick=False)
        run_due_nights(now=night, budget=Budget.of(60))
        time_machine.move_to(night + timedelta(hours=15), tick=False)
        felt_at = f"{day}T18:40:00+01:00"
        body = session_body(
            performed_at=f"{day}T18:00:00+01:00",
            ended_at=None,
            sets=[set_body(id=str(uuid.UUID(int=100 + number)), load=80 + number)],
            pain_reports=[pain_body(id=str(uuid.UUID(int=200 + number)), pain=number, reported_at=felt_at)],
        )
        answer = app.put(f"/api/v1/sessions/{uuid.UUID(int=1 + number)}", body, format="json")
        assert answer.status_code == 201, answer.content
    return cast.client


@pytest.fixture
def recompute(json_of):
    return partial(json_of, "recompute")


def told(said):
    return [(each["record"], each["on"], each["what"]) for each in said["differences"]]


def test_where_all_is_well_nothing_differs(trained, recompute):
    said, code = recompute()
    assert (code, said["differences"], said["written"]) == (0, [], False)
    scored = Score.objects.count()
    assert scored >= DAYS
    assert said["rows"] == JointDay.objects.count() + LiftDay.objects.count() + scored


def test_what_differs_is_named_and_left_as_it_is(trained, recompute):
    JointDay.objects.filter(day_on=FIRST, joint="knee", side="left").update(joint_reps=1.0, pain=9)
    LiftDay.objects.filter(day_on=FIRST + timedelta(days=1)).delete()
    stray = JointDay(
        practice=trained.practice, client=trained, day_on=date(2026, 1, 5), joint="hip", side="left"
    )
    stray.save()
    said, code = recompute()
    assert code == 1
    assert [each for each in told(said) if each[0] != "score"] == [
        ("joint day", "2026-01-05", "left over"),
        ("joint day", "2026-03-02", "joint_reps, pain differ"),
        ("lift day", "2026-03-03", "missing"),
    ]
    assert JointDay.objects.get(day_on=FIRST, joint="knee", side="left").pain == 9


def test_a_score_that_its_rows_do_not_bear_out_is_named(trained, recompute):
    newest = Score.objects.filter(client=trained).order_by("night_on").last()
    Score.objects.filter(id=newest.id).update(sessions_done=newest.sessions_done + 3)
    said, code = recompute()
    assert code == 1
    assert told(said) == [("score", newest.night_on.isoformat(), "sessions_done differ")]


def test_written_it_is_as_the_raw_rows_say_and_the_next_tick_scores_again(trained, recompute):
    before = list(JointDay.objects.order_by("day_on", "joint", "side").values_list("joint_reps", "pain"))
    JointDay.objects.filter(day_on=FIRST).update(joint_reps=1.0, pain=9)
    newest = Score.objects.filter(client=trained).order_by("night_on").last()
    Score.objects.filter(id=newest.id).update(sessions_done=newest.sessions_done + 3)
    said, code = recompute("--write")
    assert (code, said["written"]) == (0, True)
    after = list(JointDay.objects.order_by("day_on", "joint", "side").values_list("joint_reps", "pain"))
    assert after == before
    assert Client.objects.get(id=trained.id).dirty_from_on == FIRST
    run_due_nights(now=datetime(2026, 3, 6, 5, tzinfo=UTC), budget=Budget.of(60))
    mended = Score.objects.filter(client=trained, night_on=newest.night_on).order_by("revision").last()
    assert (mended.revision, mended.sessions_done) == (1, newest.sessions_done)
    assert recompute() == ({"rows": said["rows"], "written": False, "differences": []}, 0)


def test_another_practice_is_left_alone(trained, recompute, cast):
    JointDay.objects.filter(day_on=FIRST).update(joint_reps=1.0)
    elsewhere = str(cast.stranger.practice.uid)
    said, code = recompute("--practice", elsewhere, "--write")
    assert (code, said["differences"]) == (0, [])
    assert recompute("--practice", str(trained.practice.uid))[1] == 1
