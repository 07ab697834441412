from datetime import date

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import AuditEvent, Client, Night, Prescription, ScheduledSession, Session
from coaching.operations.assignments import assign_plan
from tests.bodies import version_of
from tests.factories import NOW, AlertFactory, fresh_uid
from tests.plan_builders import actor_of, knee_lift, plan_by


@pytest.fixture(autouse=True)
def monday_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def calendar(cast):
    """Sessions of the client on 2, 5, 9 and 12 March 2026."""
    assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan_by(cast.coach, knee_lift()).uid,
        starts_on=date(2026, 3, 2),
        override_reason="",
        now=NOW,
    )
    return list(ScheduledSession.objects.order_by("due_on"))


@pytest.fixture
def coach_api(cast, signed_in):
    return signed_in(cast.coach)


def address_of(row):
    return f"/api/v1/clients/{row.client.uid}/scheduled-sessions/{row.uid}"


def listed(api, client, from_on="2026-03-01", until_on="2026-03-31"):
    return api.get(f"/api/v1/clients/{client.uid}/scheduled-sessions?from={from_on}&until={until_on}")


def change(api, row, body, version=1):
    headers = {} if version is None else {"If-Match": f'"{version}"'}
    return api.patch(address_of(row), body, format="json", headers=headers)


def log_session(row):
    return Session.objects.create(
        practice=row.practice,
        client=row.client,
        scheduled_session=row,
        performed_at=NOW,
        zone="Europe/Berlin",
        performed_on=NOW.date(),
        work_sets=1,
        work_reps=6,
        content_hash="x",
        received_at=NOW,
    )


def status_of(row):
    return ScheduledSession.objects.get(id=row.id).status


def test_scheduled_session_comes_whole_with_the_ids_to_log_against(cast, coach_api, calendar):
    row = calendar[0]
    session = log_session(row)
    expected = {
        "id": str(row.uid),
        "assignment_id": str(row.assignment.uid),
        "due_on": "2026-03-02",
        "status": "planned",
        "is_deload": False,
        "prescribed_sets": 2,
        "prescribed_reps": 12,
        "prescribed_joint_reps": {"knee:left": 29.0},
        "day": {
            "weekday": 0,
            "name": "Legs",
            "blocks": [
                {
                    "kind": "straight_sets",
                    "rest_s": 90,
                    "levers": ["reps", "load"],
                    "prescriptions": [
                        {
                            "id": str(Prescription.objects.get(block__day=row.plan_day).uid),
                            "exercise": "hack_squat_invented",
                            "exercise_name": "Invented hack squat",
                            "side": "left",
                            "sets": 2,
                            "reps_low": 6,
                            "reps_high": 10,
                            "duration_s": None,
                            "effort_target": "failure",
                            "rir_target": None,
                            "load_rule": "from_history",
                            "load_kg": None,
                            "share_of_1rm": None,
                            "tempo": "",
                            "rest_s": None,
                            "has_warm_up_ramp": True,
                            "warm_up_steps": [],
                            "alternatives": [],
                        }
                    ],
                }
            ],
        },
        "session_ids": [str(session.uid)],
        "adherence": {
            "state": "done",
            "is_attended": True,
            "sets": 0.5,
            "reps": 0.5,
            "load": None,
            "has_reached_effort": None,
            "is_modified": True,
            "is_over": False,
        },
        "version": 1,
    }
    answer = coach_api.get(address_of(row))
    assert (answer.status_code, version_of(answer), answer.json()) == (200, '"1"', expected)
    assert listed(coach_api, cast.client).json()["items"][0] == expected


def test_a_session_to_come_or_cancelled_came_to_nothing_yet(cast, coach_api, calendar):
    change(coach_api, calendar[0], {"status": "cancelled"})
    items = listed(coach_api, cast.client).json()["items"]
    assert [row["adherence"] for row in items] == [None] * 4


def test_a_session_that_nobody_logged_is_unknown_until_someone_says(cast, coach_api, calendar):
    assert coach_api.get(address_of(calendar[0])).json()["adherence"]["is_attended"] is None
    found = change(coach_api, calendar[0], {"status": "not_done"}).json()["adherence"]
    assert (found["state"], found["is_attended"], found["sets"], found["load"]) == (
        "not_done",
        False,
        0,
        None,
    )


def test_calendar_holds_the_days_asked_for_in_order(cast, coach_api, calendar):
    items = listed(coach_api, cast.client, "2026-03-05", "2026-03-09").json()["items"]
    assert [row["due_on"] for row in items] == ["2026-03-05", "2026-03-09"]


def test_calendar_spans_120_days_at_most(cast, coach_api):
    assert listed(coach_api, cast.client, "2026-01-01", "2026-04-30").status_code == 200
    assert listed(coach_api, cast.client, "2026-01-01", "2026-05-01").status_code == 400


@pytest.mark.parametrize(
    "query",
    [
        "",
        "from=2026-03-01",
        "from=2026-03-02&until=2026-03-01",
        "from=soon&until=2026-03-01",
        "from=2026-03-01&until=2026-03-02&x=1",
    ],
)
def test_faulty_window_is_a_bad_request(cast, coach_api, query):
    answer = coach_api.get(f"/api/v1/clients/{cast.client.uid}/scheduled-sessions?{query}")
    assert answer.status_code == 400


def test_query_count_does_not_grow_with_the_calendar(cast, coach_api, calendar):
    listed(coach_api, cast.client)
    counts = []
    for until_on in ("2026-03-02", "2026-03-31"):
        with CaptureQueriesContext(connection) as captured:
            listed(coach_api, cast.client, until_on=until_on)
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_client_reads_the_own_calendar(cast, signed_in, calendar):
    assert len(listed(signed_in(cast.client), cast.client).json()["items"]) == 4


@pytest.mark.parametrize("who", ["stranger", "colleague", "colleagues_client", "strangers_client"])
def test_others_find_nothing(cast, signed_in, calendar, who):
    api = signed_in(getattr(cast, who))
    assert listed(api, cast.client).status_code == 404
    assert api.get(address_of(calendar[0])).status_code == 404
    assert change(api, calendar[0], {"status": "not_done"}).status_code == 404
    assert status_of(calendar[0]) == "planned"


def test_session_of_another_client_is_not_found_under_this_one(cast, signed_in, calendar):
    api = signed_in(cast.owner)
    address = f"/api/v1/clients/{cast.colleagues_client.uid}/scheduled-sessions/{calendar[0].uid}"
    assert api.get(address).status_code == 404


def test_unknown_session_is_not_found(cast, coach_api):
    address = f"/api/v1/clients/{cast.client.uid}/scheduled-sessions/{fresh_uid()}"
    assert coach_api.get(address).status_code == 404


@pytest.mark.parametrize("status", ["not_done", "cancelled", "clinician_stop"])
def test_coach_says_what_became_of_a_session(cast, coach_api, calendar, status):
    answer = change(coach_api, calendar[0], {"status": status})
    assert (answer.status_code, version_of(answer), answer.json()["status"]) == (200, '"2"', status)


def test_coach_puts_a_session_back_on_the_plan(cast, coach_api, calendar):
    change(coach_api, calendar[0], {"status": "cancelled"})
    assert change(coach_api, calendar[0], {"status": "planned"}, 2).json()["status"] == "planned"


def test_nothing_goes_back_on_the_plan_while_a_red_flag_stands(cast, coach_api, calendar):
    change(coach_api, calendar[0], {"status": "clinician_stop"})
    AlertFactory(client=cast.client, kind="red_flag")
    answer = change(coach_api, calendar[0], {"status": "planned"}, 2)
    assert answer.status_code == 409
    assert "licensed clinician" in answer.json()["detail"]
    assert status_of(calendar[0]) == "clinician_stop"


def test_coach_moves_a_session(cast, coach_api, calendar):
    assert change(coach_api, calendar[0], {"due_on": "2026-03-03"}).json()["due_on"] == "2026-03-03"


def test_session_cannot_be_moved_before_its_assignment(cast, coach_api, calendar):
    answer = change(coach_api, calendar[0], {"due_on": "2026-03-01"})
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/due_on")


def test_session_cannot_be_moved_onto_its_twin(cast, coach_api, calendar):
    assert change(coach_api, calendar[0], {"due_on": "2026-03-09"}).status_code == 409


def test_client_says_that_a_session_was_not_done(cast, signed_in, calendar):
    assert change(signed_in(cast.client), calendar[0], {"status": "not_done"}).status_code == 200
    assert status_of(calendar[0]) == "not_done"


@pytest.mark.parametrize(
    "body",
    [
        {"status": "cancelled"},
        {"status": "clinician_stop"},
        {"status": "planned"},
        {"due_on": "2026-03-03"},
        {"status": "not_done", "due_on": "2026-03-03"},
        {},
    ],
)
def test_client_changes_nothing_else(cast, signed_in, calendar, body):
    assert change(signed_in(cast.client), calendar[0], body).status_code == 403
    assert ScheduledSession.objects.get(id=calendar[0].id).version == 1


def test_logged_session_was_done(cast, coach_api, calendar):
    log_session(calendar[0])
    assert change(coach_api, calendar[0], {"status": "not_done"}).status_code == 409


def test_deleted_log_does_not_count(cast, coach_api, calendar):
    session = log_session(calendar[0])
    Session.objects.filter(id=session.id).update(deleted_at=NOW)
    assert change(coach_api, calendar[0], {"status": "not_done"}).status_code == 200


def test_change_needs_the_current_version(cast, coach_api, calendar):
    assert change(coach_api, calendar[0], {"status": "cancelled"}, None).status_code == 428
    assert change(coach_api, calendar[0], {"status": "cancelled"}, 7).status_code == 412
    assert status_of(calendar[0]) == "planned"


def test_change_that_changes_nothing_keeps_the_version(cast, coach_api, calendar):
    assert version_of(change(coach_api, calendar[0], {"status": "planned"})) == '"1"'


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"status": "lazy"}, "/status"),
        ({"status": None}, "/status"),
        ({"due_on": None}, "/due_on"),
        ({"due_on": "2026-02-30"}, "/due_on"),
        ({"prescribed_sets": 1}, "/prescribed_sets"),
    ],
)
def test_faulty_change_is_pointed_at_and_not_stored(cast, coach_api, calendar, body, pointer):
    answer = change(coach_api, calendar[0], body)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)
    assert ScheduledSession.objects.get(id=calendar[0].id).version == 1


def test_change_behind_a_finished_night_sends_it_back(cast, coach_api, calendar):
    Night.objects.create(
        practice=cast.practice, night_on=date(2026, 3, 3), zone="Europe/Berlin", status="done", planned_at=NOW
    )
    with time_machine.travel(date(2026, 3, 4), tick=False):
        change(coach_api, calendar[0], {"status": "not_done"})
    assert Client.objects.get(id=cast.client.id).dirty_from_on == date(2026, 3, 2)


def test_changes_and_readings_are_audited(cast, coach_api, calendar):
    listed(coach_api, cast.client)
    change(coach_api, calendar[0], {"status": "cancelled"})
    events = AuditEvent.objects.filter(subject_key=cast.client.audit_key, record_kind="scheduled_session")
    assert [(event.action, event.detail) for event in events.order_by("id")] == [
        ("read", {}),
        ("update", {"status": "cancelled", "due_on": "2026-03-02"}),
    ]
