import math
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.tolerated import (
    ToleratedSettings,
    hold_against_tolerated,
    tolerated_exposure,
)

NO_LIMIT = np.array([np.nan])

days = st.tuples(
    st.sampled_from([0.0, 0.0, 5.0, 10.0, 20.0]),
    st.sampled_from([math.nan, 0.0, 1.0, 2.0, 4.0, 7.0]),
    st.sampled_from([math.nan, 0.0, 1.0, 3.0]),
)
histories = st.lists(days, min_size=0, max_size=60)


def weekly(*numbers, per_week=7):
    """One row: each number on every day of its week."""
    return np.repeat(np.array([numbers], dtype=float), per_week, axis=1)


def found(reps, pain, mornings=None, *, limit=math.nan, **constants):
    """Of one site, from one number a week: joint reps, pain of the day, mornings after (else as pain)."""
    return tolerated_exposure(
        weekly(*reps) / 7,
        weekly(*pain),
        weekly(*(pain if mornings is None else mornings)),
        np.array([limit]),
        ToleratedSettings(**constants),
    )


def of_history(history):
    reps, pain, mornings = (
        np.array([row], dtype=float) for row in (zip(*history, strict=True) if history else ((), (), ()))
    )
    return tolerated_exposure(reps, pain, mornings, NO_LIMIT)


def test_the_most_joint_reps_before_a_quiet_week_are_tolerated():
    tolerated = found([70, 140, 70], [1, 1, 1])
    assert tolerated.highest == pytest.approx([140])
    assert tolerated.highest_day == [13]


def test_the_newest_week_has_nothing_after_it_and_is_not_assessed():
    tolerated = found([70, 700], [1, 1])
    assert (tolerated.highest, tolerated.n_assessed) == (pytest.approx([70]), [1])


def test_one_lucky_week_is_not_repeated():
    tolerated = found([70, 70, 210, 70], [1, 1, 1, 1])
    assert tolerated.highest == pytest.approx([210])
    assert tolerated.repeated < 140


def test_two_separate_weeks_of_a_level_repeat_it():
    tolerated = found([140, 210, 140, 70], [1, 1, 1, 1])
    # Its days rise from 20 to 30 and fall again: the weeks to day 9 and to day 17 had 170 and more.
    assert tolerated.repeated == pytest.approx([170])
    assert tolerated.repeated_day == [17]


def test_overlapping_weeks_are_no_repetition():
    tolerated = found([0, 70, 0], [1, 1, 1])
    assert (tolerated.n_quiet, tolerated.n_separate_quiet) == ([7], [1])
    assert math.isnan(tolerated.repeated[0])


def test_separate_quiet_weeks_are_counted_without_a_day_in_common():
    assert found([70] * 5, [1] * 5).n_separate_quiet == [4]


def test_pain_at_the_limit_is_not_quiet():
    assert found([70, 70], [5, 5], [1, 1]).n_quiet == [1]
    assert found([70, 70], [6, 6], [1, 1]).n_not_quiet == [1]


def test_the_clients_own_limit_holds():
    assert found([70, 70], [4, 4], [1, 1], limit=4).n_not_quiet == [1]


def test_a_rest_that_pain_enforced_is_not_quiet():
    tolerated = found([280, 0], [7, 0], [0, 0])
    assert (tolerated.n_quiet, tolerated.n_not_quiet) == ([0], [1])


def test_a_rising_median_is_not_quiet():
    assert found([70, 70], [1, 2], [0, 0]).n_quiet == [1]
    assert found([70, 70], [1, 3], [0, 0]).n_not_quiet == [1]


def test_pain_that_climbs_slowly_is_not_quiet():
    slowly = [1, 1, 1, 1, 1.75, 2.5, 3.25, 4]
    tolerated = found([70] * 8, slowly, [0] * 8)
    assert tolerated.n_not_quiet > 7
    assert found([70] * 8, slowly, [0] * 8, usual_days=1, min_usual=5).n_not_quiet == [0]


def test_pain_that_has_long_been_at_four_is_quiet():
    assert found([70] * 10, [4] * 10, [0] * 10).n_not_quiet == [0]


def test_the_most_done_counts_whatever_followed():
    assert found([70, 140, 70], [1, 7, 1]).most_done == pytest.approx([140])
    assert found([70], [1]).most_done == pytest.approx([70])
    assert np.isnan(found([], []).most_done).all()


def test_the_tolerance_is_a_setting():
    assert found([70, 70], [1, 3], [0, 0], tolerance=2).n_quiet == [1]


def test_a_morning_above_the_usual_one_is_not_quiet():
    mornings = weekly(1, 1, 1)
    mornings[0, 16] = 3
    tolerated = tolerated_exposure(weekly(10, 10, 10), weekly(2, 2, 2), mornings, NO_LIMIT)
    # The three weeks that end before day 9 do not see that morning; the next two have no usual one yet.
    assert (tolerated.n_quiet, tolerated.n_unknown, tolerated.n_not_quiet) == ([3], [2], [3])


def test_a_client_whose_mornings_are_always_at_three_is_quiet():
    tolerated = found([70] * 4, [3] * 4)
    assert tolerated.n_not_quiet == [0]
    assert tolerated.n_quiet == [10]


def test_a_morning_with_no_usual_one_to_hold_it_against_is_unknown():
    assert found([70, 70], [3, 3]).n_unknown == [1]


def test_a_low_morning_needs_no_usual_one():
    assert found([70, 70], [1, 1]).n_quiet == [1]


def test_the_usual_morning_comes_from_before_the_week():
    assert found([70, 70], [3, 3], min_usual=1).n_unknown == [1]


def test_a_week_without_a_report_after_it_is_unknown():
    tolerated = found([70, 70], [1, math.nan], [1, 1])
    assert (tolerated.n_unknown, tolerated.n_quiet) == ([1], [0])


def test_a_week_without_a_report_of_its_own_is_unknown():
    assert found([70, 70], [math.nan, 1], [1, 1]).n_unknown == [1]


def test_no_morning_after_is_unknown():
    assert found([70, 70], [1, 1], [math.nan, math.nan]).n_unknown == [1]


def test_pain_outweighs_what_is_unknown():
    assert found([70, 70], [7, 7], [math.nan, math.nan]).n_not_quiet == [1]


def test_one_report_after_is_enough():
    pain = weekly(1, math.nan)
    pain[0, 9] = 1
    assert tolerated_exposure(weekly(10, 10), pain, weekly(1, 1), NO_LIMIT).n_quiet == [1]


def test_weeks_at_or_below_the_highest_that_were_not_quiet_are_counted():
    tolerated = found([140, 140, 70, 70], [1, 1, 1, 7], [1, 1, 1, 1])
    assert tolerated.highest == pytest.approx([140])
    assert tolerated.n_not_quiet_within == tolerated.n_not_quiet
    assert tolerated.n_not_quiet_within > 0


def test_a_week_above_the_highest_that_was_not_quiet_says_nothing_about_it():
    tolerated = found([70, 70, 0, 140, 140], [1, 1, 1, 7, 7], [1] * 5)
    assert tolerated.highest == pytest.approx([70])
    assert tolerated.n_not_quiet_within < tolerated.n_not_quiet


def test_a_site_that_was_never_trained_has_no_history():
    tolerated = found([0, 0, 0], [1, 1, 1])
    assert math.isnan(tolerated.highest[0])
    assert (tolerated.n_assessed, tolerated.highest_day, tolerated.repeated_day) == ([0], [-1], [-1])


@pytest.mark.parametrize("n_days", [0, 1, 13])
def test_fewer_than_two_weeks_of_days_are_no_history(n_days):
    row = np.ones((2, n_days))
    tolerated = tolerated_exposure(row, row, row, np.full(2, np.nan))
    assert np.isnan(tolerated.highest).all()
    assert np.isnan(tolerated.repeated).all()
    assert tolerated.n_assessed.tolist() == [0, 0]


def test_no_sites_give_no_entries():
    none = np.zeros((0, 30))
    assert tolerated_exposure(none, none, none, np.zeros(0)).highest.shape == (0,)


def test_sites_are_judged_apart():
    rng = np.random.default_rng(4)
    reps = rng.choice([0.0, 5, 10], (6, 60))
    pain, mornings = (
        np.where(rng.random((6, 60)) < 0.3, np.nan, rng.integers(0, 7, (6, 60))) for _ in range(2)
    )
    limits = np.array([np.nan, 4, 5, np.nan, 3, 6])
    together = tolerated_exposure(reps, pain, mornings, limits)
    for row in range(6):
        one = slice(row, row + 1)
        alone = tolerated_exposure(reps[one], pain[one], mornings[one], limits[one])
        for field in fields(alone):
            ours, theirs = getattr(alone, field.name), getattr(together, field.name)[one]
            assert np.array_equal(ours, theirs, equal_nan=True)


@given(histories)
def test_every_assessed_week_is_quiet_not_quiet_or_unknown(history):
    tolerated = of_history(history)
    parts = tolerated.n_quiet + tolerated.n_not_quiet + tolerated.n_unknown
    assert parts.tolist() == tolerated.n_assessed.tolist()
    assert (tolerated.n_separate_quiet <= tolerated.n_quiet).all()


@given(histories)
def test_what_was_repeated_was_reached_and_needs_two_separate_weeks(history):
    tolerated = of_history(history)
    is_repeated = not math.isnan(tolerated.repeated[0])
    assert is_repeated == (tolerated.n_separate_quiet[0] >= 2)
    assert not is_repeated or tolerated.repeated[0] <= tolerated.highest[0]
    assert math.isnan(tolerated.highest[0]) == (tolerated.n_quiet[0] == 0)


@given(histories, days)
def test_one_more_day_takes_nothing_back(history, day):
    before, after = of_history(history), of_history([*history, day])
    assert after.n_assessed[0] >= before.n_assessed[0]
    assert not after.highest[0] < before.highest[0]
    assert not after.repeated[0] < before.repeated[0]


@given(histories)
def test_the_levels_are_in_the_unit_of_the_joint_reps(history):
    one = of_history(history)
    other = of_history([(3 * reps, pain, morning) for reps, pain, morning in history])
    assert other.highest == pytest.approx(3 * one.highest, nan_ok=True)
    assert other.repeated == pytest.approx(3 * one.repeated, nan_ok=True)
    assert other.highest_day.tolist() == one.highest_day.tolist()


def test_a_plan_is_held_against_cap_and_history():
    tolerated = found([140, 210, 140, 70], [1, 1, 1, 1])
    held = hold_against_tolerated(np.array([187.0]), np.array([200.0]), tolerated)
    assert (held.is_over_cap, held.is_above_highest, held.is_above_repeated) == ([False], [False], [True])
    assert held.ratio_to_repeated == pytest.approx([1.1])


def test_a_plan_at_its_cap_is_not_over_it():
    tolerated = found([70, 70], [1, 1])
    assert hold_against_tolerated(np.array([60.0]), np.array([60.0]), tolerated).is_over_cap == [False]


def test_without_history_and_cap_nothing_is_above():
    held = hold_against_tolerated(np.array([60.0]), np.array([np.nan]), found([0, 0], [1, 1]))
    assert (held.is_over_cap, held.is_above_highest, held.has_history) == ([False], [False], [False])
    assert math.isnan(held.ratio_to_repeated[0])


ROW = np.ones((1, 20))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((ROW[0], ROW, ROW, NO_LIMIT), "joint_reps must have two dimensions, got 1"),
        ((ROW, ROW[:, :9], ROW, NO_LIMIT), "pain must have the shape of joint_reps"),
        ((ROW, ROW, ROW[:, :9], NO_LIMIT), "next_morning must have the shape of joint_reps"),
        ((ROW, 11 * ROW, ROW, NO_LIMIT), "pain must lie in 0 to 10"),
        ((ROW, ROW, -ROW, NO_LIMIT), "next_morning must lie in 0 to 10"),
        ((-ROW, ROW, ROW, NO_LIMIT), "joint_reps must be finite and 0 or more, got -1"),
        ((np.nan * ROW, ROW, ROW, NO_LIMIT), "joint_reps must be finite and 0 or more, got nan"),
        ((ROW, ROW, ROW, np.ones(2)), "limits must have 1 entries"),
        ((ROW, ROW, ROW, NO_LIMIT, ToleratedSettings(tolerance=-1)), "tolerance must be 0 or more, got -1"),
        ((ROW, ROW, ROW, NO_LIMIT, ToleratedSettings(usual_days=0)), "usual_days must be 1 or more, got 0"),
        ((ROW, ROW, ROW, NO_LIMIT, ToleratedSettings(min_usual=0)), "min_usual must be 1 or more, got 0"),
    ],
)
def test_impossible_histories_are_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        tolerated_exposure(*arguments)


@pytest.mark.parametrize(
    ("planned", "caps", "message"),
    [
        (np.array([1.0]), np.ones(2), "caps must have the shape of planned_joint_reps"),
        (np.ones(2), np.ones(2), "tolerated must have the shape of planned_joint_reps"),
        (np.array([np.nan]), np.ones(1), "planned_joint_reps must be finite and 0 or more, got nan"),
    ],
)
def test_an_impossible_plan_is_refused(planned, caps, message):
    with pytest.raises(ValueError, match=message):
        hold_against_tolerated(planned, caps, found([70, 70], [1, 1]))
