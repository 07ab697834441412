"""Each lift's state in the history: what the newest night found, or why it cannot be told, and until when."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from coaching.models import LiftDay, Night, Score
from coaching.nightly import run_night
from coaching.reads.history import client_history
from tests.factories import NOW, ExerciseFactory

TODAY = date(2026, 3, 2)
YESTERDAY = TODAY - timedelta(days=1)


@pytest.fixture
def lift(db):
    return ExerciseFactory(code="invented_press", name="Invented press")


def days(client, lift, *days_ago, e1rm_kg=100.0):
    LiftDay.objects.bulk_create(
        LiftDay(
            practice=client.practice,
            client=client,
            exercise=lift,
            side="both",
            track="fresh",
            day_on=TODAY - timedelta(days=back),
            e1rm_kg=e1rm_kg,
        )
        for back in days_ago
    )


@pytest.fixture
def night(cast):
    """Run the night of a date for the whole practice."""

    def run(on=TODAY):
        row = Night.objects.create(practice=cast.practice, night_on=on, zone="Europe/Berlin", planned_at=NOW)
        run_night(night=row, now=datetime.combine(on, time(4), ZoneInfo("Europe/Berlin")))

    return run


def state(cast, until_on=TODAY):
    (lift,) = client_history(cast.client.id, until_on, 16).lifts
    return lift.night


def test_lift_with_few_exposures_says_how_many_are_missing_and_from_when_it_could_be_told(cast, lift, night):
    days(cast.client, lift, 29, 22, 15, 8, 1)
    night()
    found = state(cast)
    assert (found.state, found.reason) == ("not_assessable", "few_exposures")
    assert found.reason_text == ("Too few comparable exposures in the last 84 days. 3 more are needed.")
    assert found.assessable_on == YESTERDAY + timedelta(days=21 + 1)


def test_on_that_night_it_is_told_if_the_lift_has_kept_its_pace(cast, lift, night):
    days(cast.client, lift, 29, 22, 15, 8, 1)
    night()
    on = state(cast).assessable_on
    days(cast.client, lift, -6, -13, -20)
    night(on - timedelta(days=1))
    assert state(cast, on).state == "not_assessable"
    night(on)
    assert state(cast, on).reason == ""


def test_assessable_lift_has_its_state_and_no_reason(cast, lift, night):
    days(cast.client, lift, *range(1, 80, 4))
    night()
    found = state(cast)
    assert (found.state, found.reason, found.reason_text, found.assessable_on) == ("stalled", "", "", None)


def test_lift_without_any_estimate_has_no_date_and_says_why(cast, lift, night):
    days(cast.client, lift, 15, 8, 1, e1rm_kg=None)
    night()
    found = state(cast)
    assert (found.reason, found.assessable_on) == ("no_estimate", None)
    assert "more than ten repetitions" in found.reason_text


def test_lift_of_today_has_not_been_looked_at(cast, lift, night):
    night()
    days(cast.client, lift, 0)
    assert state(cast).reason == "not_scored"


def test_lift_of_long_ago_lacks_recent_exposures(cast, lift, night):
    days(cast.client, lift, 112)
    night(TODAY + timedelta(days=30))
    (found,) = client_history(cast.client.id, TODAY + timedelta(days=30), 104).lifts
    assert (found.night.reason, found.night.assessable_on) == ("no_recent_exposures", None)


def test_newest_revision_of_the_newest_night_speaks(cast, lift, night):
    days(cast.client, lift, 8, 1)
    for night_on, revision, reason in [(YESTERDAY, 5, "short_span"), (TODAY, 0, "few_exposures"),
                                       (TODAY, 1, "low_attendance")]:  # fmt: skip
        row = {"exercise": lift.code, "side": "both", "track": "fresh", "state": "not_assessable"}
        row["method"] = "least_squares_against_expected_rate 1"
        Score.objects.create(
            practice=cast.practice,
            client=cast.client,
            night_on=night_on,
            revision=revision,
            details={"lifts": [row | {"reason": reason, "exposures_to_go": 2}], "tests_run": 0},
            method="night 1",
            scored_at=NOW,
        )
    found = state(cast)
    assert (found.reason, found.assessable_on) == ("low_attendance", None)
    assert found.reason_text.endswith("no date can be told.")
    assert (found.computed.until_on, found.computed.version) == (YESTERDAY, "1")
    assert found.computed.from_on == YESTERDAY - timedelta(days=83)


def test_score_says_how_many_trends_could_be_looked_at(cast, lift, night):
    days(cast.client, lift, *range(1, 80, 4))
    days(cast.client, ExerciseFactory(), 8, 1)
    night()
    assert Score.objects.get(client=cast.client).details["tests_run"] == 1
    assert Score.objects.get(client=cast.colleagues_client).details["tests_run"] == 0
