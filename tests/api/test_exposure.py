from datetime import date, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import AuditEvent, JointDay, LiftDay
from tests.factories import NOW, ExerciseFactory

MONDAY = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def monday_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def row(db):
    return ExerciseFactory(code="invented_row", name="Invented row", is_one_sided=True)


def tolerated_of(client):
    return f"/api/v1/clients/{client.uid}/tolerated-exposure"


def sides_of(client):
    return f"/api/v1/clients/{client.uid}/side-differences"


ADDRESSES = [tolerated_of, sides_of]


def trained(client, days=28, side="left", pain=1, joint="knee"):
    JointDay.objects.bulk_create(
        JointDay(
            practice=client.practice,
            client=client,
            day_on=MONDAY - timedelta(days=back),
            joint=joint,
            side=side,
            joint_reps=5.0,
            pain=pain,
            pain_next_morning=pain,
        )
        for back in range(1, days + 1)
    )


def lifted(client, exercise, side, e1rm_kg, days=(7, 14, 21), **changes):
    LiftDay.objects.bulk_create(
        LiftDay(
            practice=client.practice,
            client=client,
            exercise=exercise,
            side=side,
            day_on=MONDAY - timedelta(days=back),
            e1rm_kg=e1rm_kg,
            **changes,
        )
        for back in days
    )


def test_tolerated_exposure_comes_back_whole(cast, signed_in):
    trained(cast.client)
    answer = signed_in(cast.coach).get(tolerated_of(cast.client))
    (site,) = answer.json().pop("sites")
    sentence = site.pop("sentence")
    assert sentence.startswith("Up to 35 joint reps a week of the left knee were followed by a quiet week")
    assert site == {
        "joint": "knee",
        "side": "left",
        "most_done": 35.0,
        "highest": 35.0,
        "highest_until_on": "2026-02-22",
        "repeated": 35.0,
        "repeated_until_on": "2026-02-22",
        "last_7_days": 35.0,
        "first_on": "2026-02-02",
        "days_of_history": 28,
        "weeks": 15,
        "quiet_weeks": 15,
        "not_quiet_weeks": 0,
        "unknown_weeks": 0,
        "separate_quiet_weeks": 3,
        "not_quiet_within_highest": 0,
    }
    assert {key: value for key, value in answer.json().items() if key != "sites"} == {
        "computed": {
            "method": "rolling_weeks_followed_by_quiet",
            "version": "1",
            "from_on": "2025-03-02",
            "until_on": "2026-03-01",
        },
    }


def test_today_is_no_whole_day_and_not_seen(cast, signed_in):
    trained(cast.client)
    JointDay.objects.create(
        practice=cast.practice, client=cast.client, day_on=MONDAY, joint="knee", side="left", joint_reps=999
    )
    assert signed_in(cast.coach).get(tolerated_of(cast.client)).json()["sites"][0]["most_done"] == 35


def test_sides_come_back_whole(cast, signed_in, row):
    lifted(cast.client, row, "left", 80.0)
    lifted(cast.client, row, "right", 100.0)
    trained(cast.client, side="left", pain=1)
    trained(cast.client, side="right", pain=4)
    found = signed_in(cast.coach).get(sides_of(cast.client)).json()
    (lift,), (joint,) = found.pop("lifts"), found.pop("joints")
    assert found == {
        "computed": {
            "method": "difference_of_levels",
            "version": "1",
            "from_on": "2025-12-09",
            "until_on": "2026-03-02",
        },
    }
    e1rm = lift.pop("e1rm")
    assert lift == {"exercise": "invented_row", "exercise_name": "Invented row", "track": "fresh"}
    assert e1rm == {
        "difference": pytest.approx(20.0),
        "low": pytest.approx(14.44, abs=0.01),
        "high": pytest.approx(25.20, abs=0.01),
        "noise": pytest.approx(6.72, abs=0.01),
        "is_within_noise": False,
        "left": pytest.approx(80.0),
        "right": pytest.approx(100.0),
        "n_left": 3,
        "n_right": 3,
        "sentence": (
            "Invented row: the e1RM of the right side is 20.0% above the left, which is more than noise "
            "alone (95% interval +14.4 to +25.2; equal sides would be seen up to 6.7% apart), from 3 days of "
            "the left and 3 of the right in 84. Forbear evens out nothing: plans, loads and advice of both "
            "sides stay as they are."
        ),
    }
    assert (joint["joint"], joint["pain"]["difference"], joint["pain"]["is_within_noise"]) == (
        "knee",
        3,
        False,
    )
    assert joint["pain"]["sentence"].startswith(
        "knee: the pain of the right side is 3.0 points above the left"
    )


def lifts_of(api, client):
    return {
        (lift["exercise"], lift["track"]): lift["e1rm"] for lift in api.get(sides_of(client)).json()["lifts"]
    }


def test_small_difference_is_told_as_noise(cast, signed_in, row):
    lifted(cast.client, row, "left", 100.0)
    lifted(cast.client, row, "right", 98.0)
    found = lifts_of(signed_in(cast.coach), cast.client)["invented_row", "fresh"]
    assert found["is_within_noise"] is True
    assert "2.0% below the left, which noise alone can explain" in found["sentence"]


def test_one_side_alone_is_no_difference(cast, signed_in, row):
    lifted(cast.client, row, "left", 100.0)
    found = lifts_of(signed_in(cast.coach), cast.client)["invented_row", "fresh"]
    assert (found["difference"], found["is_within_noise"], found["n_right"]) == (None, None, 0)
    assert found["sentence"] == "Invented row: nothing is known of the e1RM of the right side in 84 days."


@pytest.mark.parametrize("changes", [{"is_deload": True}, {"is_pain_limited": True}, {"days": (84, 91)}])
def test_exposures_that_are_not_comparable_or_old_do_not_count(cast, signed_in, row, changes):
    lifted(cast.client, row, "left", 100.0, **changes)
    assert lifts_of(signed_in(cast.coach), cast.client) == {}


def test_two_sided_lifts_have_no_sides_to_compare(cast, signed_in, row):
    lifted(cast.client, row, "both", 100.0)
    assert lifts_of(signed_in(cast.coach), cast.client) == {}


def test_tracks_are_kept_apart(cast, signed_in, row):
    for track in ("fresh", "after:leg_press"):
        lifted(cast.client, row, "left", 100.0, track=track)
    found = lifts_of(signed_in(cast.coach), cast.client)
    assert set(found) == {("invented_row", "fresh"), ("invented_row", "after:leg_press")}
    assert found["invented_row", "after:leg_press"]["sentence"].startswith(
        "Invented row, straight after leg press: "
    )


def test_pain_not_reported_is_not_0_and_the_spine_has_no_sides(cast, signed_in):
    trained(cast.client, side="left")
    trained(cast.client, side="midline", joint="lumbar_spine")
    (joint,) = signed_in(cast.coach).get(sides_of(cast.client)).json()["joints"]
    assert (joint["joint"], joint["pain"]["right"], joint["pain"]["n_left"]) == ("knee", None, 28)


def test_nothing_known_is_told_as_nothing(cast, signed_in):
    api = signed_in(cast.coach)
    assert api.get(tolerated_of(cast.client)).json()["sites"] == []
    found = api.get(sides_of(cast.client)).json()
    assert (found["lifts"], found["joints"]) == ([], [])


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize("who", ["stranger", "colleague", "colleagues_client"])
def test_client_of_another_is_not_found(cast, signed_in, address, who):
    assert signed_in(getattr(cast, who)).get(address(cast.client)).status_code == 404


@pytest.mark.parametrize("address", ADDRESSES)
def test_client_reads_their_own(cast, signed_in, address):
    assert signed_in(cast.client).get(address(cast.client)).status_code == 200


@pytest.mark.parametrize("address", ADDRESSES)
def test_reading_is_audited(cast, signed_in, address):
    signed_in(cast.coach).get(address(cast.client))
    event = AuditEvent.objects.get(subject_key=cast.client.audit_key)
    assert (event.action, event.account_id) == ("read", cast.coach.account_id)
    assert event.record_kind == address(cast.client).rsplit("/", 1)[1].replace("-", "_")


@pytest.mark.parametrize("address", ADDRESSES)
def test_number_of_queries_does_not_grow(cast, signed_in, row, address):
    api = signed_in(cast.coach)
    with CaptureQueriesContext(connection) as few:
        api.get(address(cast.client))
    for joint in ("knee", "hip", "ankle"):
        for side in ("left", "right"):
            trained(cast.client, side=side, joint=joint)
    for exercise in (row, ExerciseFactory(), ExerciseFactory()):
        for side in ("left", "right"):
            lifted(cast.client, exercise, side, 100.0)
    with CaptureQueriesContext(connection) as many:
        api.get(address(cast.client))
    assert len(many) <= len(few)
