"""The first night on which a lift could be assessed: told as it then comes true, or not told at all."""

import numpy as np
import pytest

from coaching.compute.lift_wait import assessable_night, why_not
from coaching.compute.progress import assess_lifts


def assess(days, as_of_day=None, status="novice", attendance=None):
    days = np.asarray([days], dtype=float)
    return assess_lifts(
        days,
        np.full(days.shape, 100.0),
        np.ones(days.shape, dtype=bool),
        np.array([status]),
        as_of_day=days.max() if as_of_day is None else as_of_day,
        increment_kg=np.array([2.5]),
        attendance=None if attendance is None else np.array([attendance]),
    )


@pytest.mark.parametrize("status", ["novice", "intermediate", "advanced"])
@pytest.mark.parametrize("gap", [1, 2, 3.5, 7])
@pytest.mark.parametrize("n", [2, 3, 7])
def test_lift_that_keeps_its_pace_is_assessable_on_that_night_and_not_before(status, gap, n):
    days = 700_000 + np.floor(np.arange(40) * gap)
    seen = days[:n]
    night = assessable_night(assess(seen, status=status), 0, seen.max())
    assert night is not None
    assert assess(days[days < night + gap], night - 1 + gap, status).reason[0] == ""
    assert assess(days[days < night - 1 - gap], night - 1 - gap, status).reason[0] != ""


def test_assessable_lift_waits_for_nothing():
    found = assess(np.arange(0, 80, 4.0))
    assert found.reason[0] == "" and assessable_night(found, 0, 76.0) is None


@pytest.mark.parametrize("days", [[3.0], [np.nan, np.nan]])
def test_without_a_pace_there_is_no_date(days):
    assert assessable_night(assess(days, as_of_day=10.0), 0, 10.0) is None


def test_low_attendance_has_no_date():
    found = assess(np.arange(0, 80, 4.0), attendance=0.5)
    assert found.reason[0] == "low_attendance" and assessable_night(found, 0, 76.0) is None


def test_lift_that_was_dropped_counts_from_now_on():
    found = assess(np.arange(0, 40, 4.0), as_of_day=70.0)
    assert found.reason[0] == "no_recent_exposures"
    assert assessable_night(found, 0, 70.0) == 70 + 1 + 4 + 1


@pytest.mark.parametrize(
    ("reason", "to_go", "words"),
    [
        ("few_exposures", 3, "Too few comparable exposures in the last 84 days. 3 more are needed."),
        ("short_span", 0, "The comparable exposures lie too close together in time."),
        ("no_recent_exposures", 1, "Too few comparable exposures lately. 1 more is needed."),
        ("not_scored", 0, "No night has looked at it yet."),
    ],
)
def test_reason_is_told_in_words(reason, to_go, words):
    assert why_not(reason, to_go) == words


@pytest.mark.parametrize("reason", ["low_attendance", "no_estimate"])
def test_reason_that_no_waiting_helps_says_so(reason):
    assert why_not(reason).endswith("no date can be told.")


def test_unknown_reason_is_refused():
    with pytest.raises(ValueError, match=r"reason must be one of few_exposures, .*, got bored"):
        why_not("bored")
