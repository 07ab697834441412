from datetime import UTC, date, datetime
from functools import partial

import pytest
import time_machine

from coaching.models import (
    AlertStatus,
    Assignment,
    AuditEvent,
    Client,
    JointStress,
    Night,
    Restriction,
    ScheduledSession,
    Session,
)
from coaching.operations.plans import rewrite_plan, write_plan
from tests.bodies import version_of
from tests.factories import NOW, AlertFactory, ExerciseFactory, InjuryFactory, fresh_uid
from tests.plan_builders import actor_of, knee_lift, plan_by, plan_content

MONDAY = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def monday_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def lift(db):
    return knee_lift()


@pytest.fixture
def coach_api(cast, signed_in):
    return signed_in(cast.coach)


@pytest.fixture
def make_plan(cast, lift):
    return partial(plan_by, cast.coach, lift)


@pytest.fixture
def plan(make_plan):
    return make_plan()


def assign(api, client, plan, starts_on=MONDAY, /, **more):
    body = {"plan": str(plan.uid), "starts_on": str(starts_on)} | more
    return api.post(f"/api/v1/clients/{client.uid}/assignments", body, format="json")


def due_dates(**filters):
    return list(
        ScheduledSession.objects.filter(**filters).order_by("due_on").values_list("due_on", flat=True)
    )


def log_session(row):
    return Session.objects.create(
        practice=row.practice,
        client=row.client,
        scheduled_session=row,
        performed_at=NOW,
        zone="Europe/Berlin",
        performed_on=NOW.date(),
        content_hash="x",
        received_at=NOW,
    )


def test_assignment_comes_back_whole(cast, coach_api, plan):
    answer = assign(coach_api, cast.client, plan)
    row = Assignment.objects.get()
    expected = {
        "id": str(row.uid),
        "plan": str(plan.uid),
        "plan_name": "Knee first",
        "plan_version": 1,
        "starts_on": "2026-03-02",
        "ends_on": "2026-03-15",
        "override_reason": "",
        "assigned_by_name": "Carl Coach",
        "created_at": "2026-03-02T12:00:00Z",
        "version": 1,
    }
    assert (answer.status_code, version_of(answer), answer.json()) == (201, '"1"', expected)
    address = f"/api/v1/clients/{cast.client.uid}/assignments"
    assert coach_api.get(address).json()["items"] == [expected]
    assert coach_api.get(f"{address}/{row.uid}").json() == expected


def test_plan_days_land_on_the_calendar_with_their_numbers(cast, coach_api, plan):
    assign(coach_api, cast.client, plan)
    rows = ScheduledSession.objects.order_by("due_on")
    assert [(row.due_on.day, row.is_deload) for row in rows] == [
        (2, False),
        (5, False),
        (9, True),
        (12, True),
    ]
    assert {(row.prescribed_sets, row.prescribed_reps) for row in rows} == {(2, 12)}
    assert rows[0].prescribed_joint_reps == {"knee:left": 29}


def test_days_before_the_start_are_left_out_of_the_first_week(cast, coach_api, plan):
    assign(coach_api, cast.client, plan, date(2026, 3, 4))
    assert [day.day for day in due_dates()] == [5, 9, 12]
    assert [row.is_deload for row in ScheduledSession.objects.order_by("due_on")] == [False, True, True]


def test_start_after_the_last_day_is_refused(cast, coach_api, make_plan):
    answer = assign(coach_api, cast.client, make_plan(weeks=1, deload_weeks=()), date(2026, 3, 6))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/starts_on"
    assert not Assignment.objects.exists()


def test_clients_own_stress_counts(cast, coach_api, plan, lift):
    JointStress.objects.create(
        exercise=lift, joint="knee", stress=0.5, reason="x", practice=cast.practice, client=cast.client
    )
    assign(coach_api, cast.client, plan)
    assert ScheduledSession.objects.first().prescribed_joint_reps == {"knee:left": 14.5}


def test_same_again_changes_nothing(cast, coach_api, plan):
    first = assign(coach_api, cast.client, plan).json()
    again = assign(coach_api, cast.client, plan)
    assert (again.status_code, again.json()) == (200, first)
    assert ScheduledSession.objects.count() == 4


def test_later_version_leaves_the_assignment_as_it_was(cast, coach_api, plan, lift):
    assign(coach_api, cast.client, plan)
    rewrite_plan(
        actor=actor_of(cast.coach),
        plan_uid=plan.uid,
        content=plan_content(lift, weekdays=(1,)),
        expected_version=1,
        now=NOW,
    )
    address = f"/api/v1/clients/{cast.client.uid}/assignments"
    assert coach_api.get(address).json()["items"][0]["plan_version"] == 1
    assert len(due_dates()) == 4


def test_new_assignment_ends_the_standing_one_the_day_before(cast, coach_api, plan, make_plan):
    old = assign(coach_api, cast.client, plan).json()
    new = assign(coach_api, cast.client, make_plan(name="Next"), date(2026, 3, 9)).json()
    row = Assignment.objects.get(uid=old["id"])
    assert (row.ends_on, row.version) == (date(2026, 3, 8), 2)
    assert [day.day for day in due_dates(assignment=row)] == [2, 5]
    assert [day.day for day in due_dates(assignment__uid=new["id"])] == [9, 12, 16, 19]


def test_logged_session_of_the_old_plan_stays(cast, coach_api, plan, make_plan):
    old = assign(coach_api, cast.client, plan).json()
    log_session(ScheduledSession.objects.get(due_on=date(2026, 3, 9)))
    assign(coach_api, cast.client, make_plan(name="Next"), date(2026, 3, 5))
    assert [day.day for day in due_dates(assignment__uid=old["id"])] == [2, 9]


def test_plan_replaced_before_it_began_goes_altogether(cast, coach_api, plan, make_plan):
    old = assign(coach_api, cast.client, plan, date(2026, 3, 16)).json()
    assign(coach_api, cast.client, make_plan(name="Next"), date(2026, 3, 9))
    assert not Assignment.objects.filter(uid=old["id"]).exists()


def test_assignment_that_follows_later_is_left_alone(cast, coach_api, plan, make_plan):
    later = assign(coach_api, cast.client, plan, date(2026, 4, 6)).json()
    assign(coach_api, cast.client, make_plan(name="Now"))
    assert Assignment.objects.get(uid=later["id"]).version == 1


def test_red_flag_refuses_any_plan_and_refers_out(cast, coach_api, plan):
    AlertFactory(client=cast.client, kind="red_flag", status=AlertStatus.ACKNOWLEDGED)
    answer = assign(coach_api, cast.client, plan, override_reason="I know better")
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/conflict")
    assert "licensed clinician" in answer.json()["detail"]
    assert not Assignment.objects.exists()


def test_closed_red_flag_refuses_nothing(cast, coach_api, plan):
    AlertFactory(client=cast.client, kind="red_flag", status="closed", closed_on=MONDAY, closing="cleared")
    assert assign(coach_api, cast.client, plan).status_code == 201


@pytest.mark.parametrize(("cap", "status"), [(57, 409), (58, 201)])
def test_cap_holds_against_a_whole_week(cast, coach_api, plan, cap, status):
    InjuryFactory(client=cast.client, weekly_joint_reps_cap=cap)
    assert assign(coach_api, cast.client, plan).status_code == status
    assert Assignment.objects.count() == (status == 201)


def test_cap_of_the_other_side_does_not_matter(cast, coach_api, plan):
    InjuryFactory(client=cast.client, side="right", weekly_joint_reps_cap=1)
    assert assign(coach_api, cast.client, plan).status_code == 201


def test_going_over_a_cap_needs_a_reason_that_is_kept(cast, coach_api, plan):
    InjuryFactory(client=cast.client, weekly_joint_reps_cap=1)
    refused = assign(coach_api, cast.client, plan)
    assert [(fault["pointer"], fault["code"]) for fault in refused.json()["errors"]] == [
        ("/plan", "over_cap")
    ]
    assert "58 joint reps of the left knee; its cap is 1" in refused.json()["errors"][0]["detail"]
    given = assign(coach_api, cast.client, plan, override_reason="Agreed with the physiotherapist")
    assert given.json()["override_reason"] == "Agreed with the physiotherapist"
    event = AuditEvent.objects.get(record_kind="assignment", action="create")
    assert (event.subject_key, event.detail) == (cast.client.audit_key, {"overrode": ["over_cap"]})


def test_reason_without_a_concern_is_not_kept(cast, coach_api, plan):
    assert assign(coach_api, cast.client, plan, override_reason="Just so").json()["override_reason"] == ""


def test_site_stopped_by_a_clinician_needs_a_reason(cast, coach_api, plan):
    InjuryFactory(client=cast.client, status="stopped_by_clinician")
    assert assign(coach_api, cast.client, plan).json()["errors"][0]["code"] == "stopped_by_clinician"
    assert assign(coach_api, cast.client, plan, override_reason="Lifted by phone").status_code == 201


def restrict(client, **fields):
    injury = InjuryFactory(client=client, status="settled")
    fields = {"from_on": date(2026, 1, 1), "said_by": "clinician"} | fields
    return Restriction.objects.create(practice=client.practice, injury=injury, **fields)


def test_exercise_to_avoid_needs_a_reason(cast, coach_api, plan, lift):
    restrict(cast.client, kind="avoid_exercise", exercise=lift)
    assert assign(coach_api, cast.client, plan).json()["errors"][0]["code"] == "restricted"
    assert assign(coach_api, cast.client, plan, override_reason="Half range only").status_code == 201


def test_pattern_to_avoid_needs_a_reason(cast, coach_api, plan):
    restrict(cast.client, kind="avoid_pattern", movement_pattern="squat")
    assert assign(coach_api, cast.client, plan).status_code == 409


def test_alternative_to_avoid_needs_a_reason_too(cast, coach_api, make_plan):
    other = ExerciseFactory(name="Invented lunge", movement_pattern="lunge")
    content = plan_content(knee_lift("invented_press"), alternatives=(other.code,))
    plan = write_plan(actor=actor_of(cast.coach), content=content, now=NOW).plan
    restrict(cast.client, kind="avoid_pattern", movement_pattern="lunge")
    refused = assign(coach_api, cast.client, plan)
    assert refused.json()["errors"][0]["detail"].startswith("Invented lunge is to be avoided: lunge is restr")


def test_trail_names_all_that_was_overridden(cast, coach_api, plan, lift):
    InjuryFactory(client=cast.client, status="stopped_by_clinician", weekly_joint_reps_cap=1)
    restrict(cast.client, kind="avoid_exercise", exercise=lift)
    refused = assign(coach_api, cast.client, plan)
    assert [fault["pointer"] for fault in refused.json()["errors"]] == ["/plan"] * 3
    assert not AuditEvent.objects.filter(record_kind="assignment").exists()
    assign(coach_api, cast.client, plan, override_reason="Lifted by phone")
    event = AuditEvent.objects.get(record_kind="assignment", action="create")
    assert event.detail == {"overrode": ["over_cap", "restricted", "stopped_by_clinician"]}
    assert event.account_id == cast.coach.account_id


def test_blank_reason_is_none(cast, coach_api, plan):
    InjuryFactory(client=cast.client, weekly_joint_reps_cap=1)
    assert assign(coach_api, cast.client, plan, override_reason="   ").status_code == 409


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "avoid_pattern", "movement_pattern": "hinge"},
        {"kind": "avoid_pattern", "movement_pattern": "squat", "until_on": date(2026, 3, 1)},
        {"kind": "avoid_pattern", "movement_pattern": "squat", "from_on": date(2026, 3, 13)},
        {"kind": "limit", "limit": "Half range"},
    ],
)
def test_restriction_that_meets_no_day_of_the_plan_needs_no_reason(cast, coach_api, plan, fields):
    restrict(cast.client, **fields)
    assert assign(coach_api, cast.client, plan).status_code == 201


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"plan": "7"}, "/plan"),
        ({"plan": str(fresh_uid())}, "/plan"),
        ({"starts_on": "soon"}, "/starts_on"),
        ({"starts_on": "2026-02-30"}, "/starts_on"),
        ({"starts_on": "2024-03-03"}, "/starts_on"),
        ({"starts_on": "2028-02-29"}, "/starts_on"),
        ({"starts_on": "1989-12-31"}, "/starts_on"),
        ({"ends_on": "2026-03-01"}, "/ends_on"),
        ({"override_reason": "x" * 501}, "/override_reason"),
        ({"mood": "good"}, "/mood"),
    ],
)
def test_faulty_assignment_is_pointed_at_and_not_stored(cast, coach_api, plan, changes, pointer):
    answer = assign(coach_api, cast.client, plan, MONDAY, **changes)
    assert answer.status_code == 422
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    assert not Assignment.objects.exists()


def test_other_practices_plan_is_unknown(cast, signed_in, plan):
    api = signed_in(cast.stranger)
    theirs = assign(api, cast.strangers_client, plan).json()
    nothing = assign(api, cast.strangers_client, plan, plan=str(fresh_uid())).json()
    assert theirs == nothing


@pytest.mark.parametrize("who", ["stranger", "colleague", "colleagues_client"])
def test_client_of_another_is_not_found(cast, coach_api, signed_in, plan, who):
    assignment_id = assign(coach_api, cast.client, plan).json()["id"]
    api = signed_in(getattr(cast, who))
    address = f"/api/v1/clients/{cast.client.uid}/assignments"
    assert api.get(address).status_code == 404
    assert api.get(f"{address}/{assignment_id}").status_code == 404
    assert assign(api, cast.client, plan).status_code == 404
    assert api.delete(f"{address}/{assignment_id}", headers={"If-Match": '"1"'}).status_code == 404
    assert Assignment.objects.get().version == 1


def test_client_reads_assignments_but_makes_and_ends_none(cast, coach_api, signed_in, plan):
    assignment_id = assign(coach_api, cast.client, plan).json()["id"]
    api = signed_in(cast.client)
    address = f"/api/v1/clients/{cast.client.uid}/assignments"
    assert len(api.get(address).json()["items"]) == 1
    assert assign(api, cast.client, plan).status_code == 403
    assert api.delete(f"{address}/{assignment_id}", headers={"If-Match": '"1"'}).status_code == 403


def test_archived_plan_cannot_be_assigned(cast, coach_api, plan):
    coach_api.delete(f"/api/v1/plans/{plan.uid}", headers={"If-Match": '"1"'})
    assert assign(coach_api, cast.client, plan).status_code == 409


def test_archived_client_is_given_nothing(cast, coach_api, plan):
    Client.objects.filter(id=cast.client.id).update(archived_at=NOW)
    assert assign(coach_api, cast.client, plan).status_code == 410


def end(api, client, assignment_id, version=1):
    headers = {} if version is None else {"If-Match": f'"{version}"'}
    return api.delete(f"/api/v1/clients/{client.uid}/assignments/{assignment_id}", headers=headers)


def test_ending_keeps_what_was_due_and_drops_what_was_not(cast, coach_api, plan):
    assignment_id = assign(coach_api, cast.client, plan).json()["id"]
    with time_machine.travel(datetime(2026, 3, 5, 12, tzinfo=UTC), tick=False):
        assert end(coach_api, cast.client, assignment_id).status_code == 204
    assert Assignment.objects.get().ends_on == date(2026, 3, 5)
    assert [day.day for day in due_dates()] == [2, 5]


def test_ending_needs_the_current_version(cast, coach_api, plan):
    assignment_id = assign(coach_api, cast.client, plan).json()["id"]
    assert end(coach_api, cast.client, assignment_id, None).status_code == 428
    assert end(coach_api, cast.client, assignment_id, 7).status_code == 412
    assert len(due_dates()) == 4


def test_ending_what_has_not_begun_takes_it_back(cast, coach_api, plan):
    assignment_id = assign(coach_api, cast.client, plan, date(2026, 3, 9)).json()["id"]
    assert end(coach_api, cast.client, assignment_id).status_code == 204
    assert not Assignment.objects.exists()
    assert end(coach_api, cast.client, assignment_id).status_code == 404


def test_ending_what_is_over_does_not_lengthen_it(cast, coach_api, plan):
    assignment_id = assign(coach_api, cast.client, plan, date(2026, 1, 5)).json()["id"]
    assert end(coach_api, cast.client, assignment_id).status_code == 204
    assert Assignment.objects.get().ends_on == date(2026, 1, 18)


def test_assignment_into_the_past_sends_finished_nights_back(cast, coach_api, plan):
    Night.objects.create(
        practice=cast.practice, night_on=date(2026, 3, 2), zone="Europe/Berlin", status="done", planned_at=NOW
    )
    assign(coach_api, cast.client, plan, date(2026, 2, 23))
    assert Client.objects.get(id=cast.client.id).dirty_from_on == date(2026, 2, 23)


def test_making_ending_and_reading_are_audited(cast, coach_api, plan):
    assignment_id = assign(coach_api, cast.client, plan).json()["id"]
    coach_api.get(f"/api/v1/clients/{cast.client.uid}/assignments")
    end(coach_api, cast.client, assignment_id)
    events = AuditEvent.objects.filter(subject_key=cast.client.audit_key, record_kind="assignment")
    assert [event.action for event in events.order_by("id")] == ["create", "read", "end"]
