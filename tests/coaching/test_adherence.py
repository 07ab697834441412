"""Scheduled sessions held against their logs: which loads and efforts are compared, which not known."""

from datetime import date, timedelta

import numpy as np
import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching import nightly
from coaching.models import (
    LiftDay,
    LoggedSet,
    Prescription,
    ScheduledSession,
    Score,
    Session,
)
from coaching.operations.assignments import assign_plan
from coaching.operations.plans import write_plan
from coaching.reads.adherence import held_sessions, scheduled_against_logs
from coaching.reads.night_series import night_series
from coaching.reads.plans import BlockContent, DayContent, PlanContent
from tests.bodies import session_body, set_body
from tests.factories import NOW, ExerciseFactory, fresh_uid
from tests.plan_builders import actor_of, knee_lift, prescription

MONDAY = date(2026, 3, 2)
FIXED = {"load_rule": "fixed", "load_kg": 50.0}
SHARE = {"load_rule": "share_of_1rm", "share_of_1rm": 0.7}


def schedule(cast, *prescribed, starts_on=MONDAY, weeks=2, name="Knee first"):
    """Mondays and Thursdays with these prescriptions; rows in order."""
    block = BlockContent("straight_sets", 90, ("reps", "load"), prescribed)
    days = tuple(DayContent(weekday, "Legs", (block,)) for weekday in (0, 3))
    plan = write_plan(actor=actor_of(cast.coach), content=PlanContent(name, weeks, (), days), now=NOW).plan
    assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan.uid,
        starts_on=starts_on,
        override_reason="",
        now=NOW,
    )
    return list(ScheduledSession.objects.order_by("due_on"))


def log(scheduled, *sets, days_late=0):
    """A session with these sets, each a dict of what differs from 50 kg x 6 at no known reserve."""
    session = Session.objects.create(
        practice=scheduled.practice,
        client=scheduled.client,
        scheduled_session=scheduled,
        performed_at=NOW,
        zone="Europe/Berlin",
        performed_on=scheduled.due_on + timedelta(days=days_late),
        work_sets=len(sets),
        work_reps=sum(each.get("reps", 6) or 0 for each in sets),
        content_hash="x",
        received_at=NOW,
    )
    asked = Prescription.objects.filter(block__day=scheduled.plan_day).first()
    fields = {"exercise": asked.exercise, "side": "left", "kind": "work", "reps": 6, "ended_by": "target"}
    for position, each in enumerate(sets, start=1):
        LoggedSet.objects.create(
            practice=scheduled.practice,
            session=session,
            position=position,
            **fields | {"load_thousandths": 50_000} | each,
        )
    return session


def held(*rows, today=MONDAY + timedelta(days=20)):
    return [each.adherence for each in held_sessions(rows, today=today)]


@pytest.fixture
def lift():
    return knee_lift()


def test_loads_that_the_plan_states_are_compared(cast, lift):
    row = schedule(cast, prescription(lift.code, **FIXED))[0]
    log(row, {}, {"load_thousandths": 45_000})
    (found,) = held(row)
    assert (found.sets, found.reps, found.load, found.is_modified) == (1, 1, 0.95, True)


def test_a_share_of_1rm_is_held_against_the_best_estimate_from_before_the_day(cast, lift):
    row = schedule(cast, prescription(lift.code, **SHARE))[0]
    for day, e1rm_kg in ((-85, 300.0), (-84, 80.0), (-1, 74.0), (0, 200.0)):
        LiftDay.objects.create(
            practice=cast.practice,
            client=cast.client,
            exercise=lift,
            side="left",
            day_on=MONDAY + timedelta(days=day),
            e1rm_kg=e1rm_kg,
        )
    log(row, {}, {})
    assert held(row)[0].load == pytest.approx(50 / 55)  # 0.7 x 80 kg is 56 kg, and a step is 2.5 kg


@pytest.mark.parametrize(
    ("sides", "share"),
    [
        (["left", "right", "left", "right"], 1.0),
        (["both", "both"], 1.0),
        (["left", "left"], 0.5),
        (["both", "left", "right", "both"], 1.5),
    ],
)
def test_one_sided_work_of_both_sides_is_held_side_by_side(cast, signed_in, lift, sides, share):
    type(lift).objects.filter(id=lift.id).update(is_one_sided=True)
    row = schedule(cast, prescription(lift.code, side="both", **FIXED))[0]
    sets = [set_body(exercise=lift.code, side=side, load=50, reps=6) for side in sides]
    with time_machine.travel("2026-03-02T20:00:00Z", tick=False):
        body = session_body(sets=sets, pain_reports=[])
        answer = signed_in(cast.client).put(f"/api/v1/sessions/{fresh_uid()}", body, format="json")
    assert answer.status_code == 201
    (found,) = held(row)
    assert (found.sets, found.reps, found.load, found.is_over) == (share, share, 1, share > 1)


def test_share_of_1rm_of_one_sided_work_is_of_the_weaker_side(cast, lift):
    type(lift).objects.filter(id=lift.id).update(is_one_sided=True)
    row = schedule(cast, prescription(lift.code, side="both", **SHARE))[0]
    for side, e1rm_kg in (("left", 100.0), ("right", 80.0)):
        LiftDay.objects.create(
            practice=cast.practice,
            client=cast.client,
            exercise=lift,
            side=side,
            day_on=MONDAY - timedelta(days=7),
            e1rm_kg=e1rm_kg,
        )
    log(row, *({"side": side, "load_thousandths": 55_000} for side in ("left", "right") for _ in range(2)))
    assert held(row)[0].load == 1


@pytest.mark.parametrize(
    ("asked", "done"),
    [
        pytest.param([{}], {}, id="load from history"),
        pytest.param([SHARE], {}, id="share of an unknown 1RM"),
        pytest.param([FIXED, {"load_rule": "from_history"}], {}, id="one of two loads not stated"),
        pytest.param([FIXED], {"is_to_confirm": True}, id="a load to be confirmed"),
        pytest.param([FIXED], {"load_thousandths": 0}, id="no load entered"),
        pytest.param([FIXED], {"side": "right"}, id="a set that answers no prescription"),
    ],
)
def test_no_load_is_compared_where_one_is_not_known(cast, lift, asked, done):
    row = schedule(cast, *(prescription(lift.code, **each) for each in asked))[0]
    log(row, done, {})
    scheduled = scheduled_against_logs([row], client_rows={cast.client.id: 0}, last_day=MONDAY)
    assert held(row)[0].load is None
    assert np.isnan(scheduled.prescribed_volume_kg + scheduled.completed_volume_kg).all()


def test_what_is_added_to_a_body_of_unknown_mass_is_not_compared(cast):
    dip = ExerciseFactory(load_basis="added_to_body_mass")
    row = schedule(cast, prescription(dip.code, **FIXED))[0]
    log(row, {}, {})
    assert held(row)[0].load is None


def test_of_two_prescriptions_of_a_lift_a_set_answers_the_one_it_names(cast, lift):
    heavy, light = prescription(lift.code, **FIXED), prescription(lift.code, load_rule="fixed", load_kg=25.0)
    row = schedule(cast, heavy, light)[0]
    named = list(Prescription.objects.filter(block__day=row.plan_day))
    log(row, *({"prescription": each, "load_thousandths": int(each.load_kg * 1000)} for each in named * 2))
    assert held(row)[0].load == 1


def test_pounds_and_kilograms_of_one_load_are_no_change(cast, lift):
    row = schedule(cast, prescription(lift.code, **FIXED))[0]
    log(row, *[{"load_thousandths": 110_000, "load_unit": "lb"}] * 2)
    assert not held(row)[0].is_modified


@pytest.mark.parametrize(
    ("asked", "done", "reached"),
    [
        ({"effort_target": "failure"}, {"ended_by": "failure"}, True),
        ({"effort_target": "failure"}, {"rir": 0}, True),
        ({"effort_target": "failure"}, {"rir": 2}, False),
        ({"effort_target": "failure"}, {}, None),
        ({"effort_target": "reps_in_reserve", "rir_target": 2}, {"rir": 2}, True),
        ({"effort_target": "reps_in_reserve", "rir_target": 2}, {"rir": 2.5}, False),
        ({"effort_target": "reps_in_reserve", "rir_target": 2}, {"ended_by": "failure"}, True),
        ({"effort_target": "reps_in_reserve", "rir_target": 2}, {"rir": 6, "ended_by": "pain"}, None),
    ],
)
def test_effort_is_what_was_asked_for(cast, lift, asked, done, reached):
    row = schedule(cast, prescription(lift.code, **asked))[0]
    log(row, done, done)
    assert held(row)[0].has_reached_effort is reached


def test_a_set_short_by_pain_is_a_modified_session_and_no_lack_of_effort(cast, lift):
    row = schedule(cast, prescription(lift.code))[0]
    log(row, {"ended_by": "failure"}, {"reps": 3, "rir": 4, "ended_by": "pain"})
    (found,) = held(row)
    assert (found.is_modified, found.has_reached_effort) == (True, None)


def test_a_session_of_holds_is_counted_in_seconds(cast):
    plank = ExerciseFactory(measure="duration", load_basis="none")
    hold = prescription(
        plank.code, reps_low=None, reps_high=None, duration_s=40, has_warm_up_ramp=False, sets=3
    )
    row = schedule(cast, hold)[0]
    log(row, *[{"reps": None, "duration_s": 30, "load_thousandths": 0}] * 3)
    (found,) = held(row)
    assert (found.sets, found.reps) == (1, 0.75)


def test_a_log_more_than_two_days_late_is_not_attended(cast, lift):
    rows = schedule(cast, prescription(lift.code))[:2]
    log(rows[0], {}, {}, days_late=2)
    log(rows[1], {}, {}, days_late=3)
    assert [each.is_attended for each in held(*rows)] == [True, False]


def test_what_the_coach_lowers_beforehand_lowers_the_denominator(cast, lift):
    schedule(cast, prescription(lift.code, sets=4))
    lighter_from = MONDAY + timedelta(days=7)
    rows = schedule(cast, prescription(lift.code, sets=2), starts_on=lighter_from, weeks=1, name="Lighter")
    assert [row.prescribed_sets for row in rows] == [4, 4, 2, 2]
    for row in rows:
        log(row, {}, {})
    assert [each.sets for each in held(*rows)] == [0.5, 0.5, 1, 1]
    assert [each.is_modified for each in held(*rows)] == [True, True, False, False]


def test_a_night_keeps_adherence_taken_apart(cast, lift):
    rows = schedule(cast, prescription(lift.code, **FIXED))
    log(rows[0], {"rir": 0}, {"rir": 0})
    log(rows[1], {"rir": 3, "load_thousandths": 40_000})
    ScheduledSession.objects.filter(id=rows[3].id).update(status="clinician_stop")
    night_on = MONDAY + timedelta(days=14)
    nightly.run_night(
        night=nightly.night_by_hand(practice=cast.practice, night_on=night_on, now=NOW), now=NOW
    )
    found = Score.objects.get(client=cast.client).details["adherence"]
    assert found == {
        "attended_low": pytest.approx(2 / 3),
        "attended_high": 1,
        "sets_low": 0.5,
        "sets_high": pytest.approx(2.5 / 3),
        "reps_low": 0.5,
        "reps_high": pytest.approx(2.5 / 3),
        "load": 0.9,
        "effort": 0.5,
        "dose_ratio": 0.7,
        "modified": 1,
        "over": 0,
        "late": 0,
        "missed_spells": 0,
        "interrupted_spells": 0,
        "excused": 1,
        "method": "bounded_dose_ratio 2",
    }


@pytest.mark.parametrize("asked", [FIXED, SHARE])
def test_queries_do_not_grow_with_sessions_and_clients(cast, lift, asked):
    rows = schedule(cast, prescription(lift.code, **asked))
    counts = []
    for n_logged, clients in ((1, [cast.client]), (4, [cast.client, cast.colleagues_client])):
        for row in rows[:n_logged]:
            log(row, {}, {})
        with CaptureQueriesContext(connection) as captured:
            night_series(clients=clients, night_on=MONDAY + timedelta(days=14))
        counts.append(len(captured))
    assert counts[0] == counts[1]
