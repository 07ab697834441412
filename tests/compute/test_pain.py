"""Pain of single days: bands, limits, the morning after, this week against the last."""

import numpy as np
import pytest

from coaching.compute.pain import (
    Settling,
    assess_settling,
    compare_weeks,
    find_over_limit,
    is_improved,
    is_over_limit,
    is_unsettled,
    name_bands,
)

NAN = np.nan


def test_no_report_has_no_band():
    assert name_bands(np.array([NAN])) == [""]


def test_a_pain_below_zero_is_refused():
    with pytest.raises(ValueError, match=r"pain must lie in 0 to 10 or be missing, got -1\.0"):
        name_bands(np.array([-1.0]))


def test_six_is_at_the_limit_and_five_is_not():
    assert is_over_limit(np.array([[5.0, 6.0]]), np.array([NAN])).tolist() == [[False, True]]


def test_a_clients_own_lower_limit_counts():
    assert is_over_limit(np.array([[4.0]]), np.array([4.0])) == [[True]]


def test_a_clients_limit_cannot_lift_the_general_one():
    assert is_over_limit(np.array([[6.0]]), np.array([8.0])) == [[True]]


def test_a_missing_report_is_not_over_the_limit():
    assert is_over_limit(np.array([[NAN]]), np.array([NAN])) == [[False]]


def test_the_newest_day_over_the_limit_is_found():
    found = find_over_limit(np.array([[7.0, 8.0, 2.0, NAN]]), np.array([NAN]))
    assert (found.day[0], found.pain[0], found.n_days[0]) == (1, 8, 2)


def test_days_before_the_recent_ones_are_past():
    found = find_over_limit(np.array([[9.0, 1.0, 1.0]]), np.array([NAN]), recent_days=2)
    assert (found.is_over_limit[0], found.day[0], np.isnan(found.pain[0])) == (False, -1, True)


def test_no_days_hold_nothing_over_the_limit():
    assert find_over_limit(np.ones((1, 0)), np.array([NAN])).is_over_limit == [False]


def test_limits_must_cover_every_series():
    with pytest.raises(ValueError, match="limits must have 2 entries like pain"):
        find_over_limit(np.ones((2, 3)), np.array([NAN]))


@pytest.mark.parametrize(("morning", "unsettled"), [(2, False), (3, True), (NAN, False)])
def test_a_morning_may_lie_one_point_above_the_usual(morning: float, unsettled: bool):
    assert is_unsettled(np.array([morning]), np.array([1.0])) == [unsettled]


def settling(*recent: float, usual: float = 1.0) -> Settling:
    """Twenty usual mornings, then the recent ones, on training days every second day."""
    mornings = np.full(40 + 2 * len(recent), NAN)
    mornings[:40:2] = usual
    mornings[40::2] = recent
    joint_reps = np.zeros(len(mornings))
    joint_reps[::2] = 30
    return assess_settling(mornings[None, :], joint_reps[None, :], recent_days=2 * len(recent))


def test_two_bad_mornings_in_a_row_are_unsettled():
    assert settling(1, 4, 3).is_unsettled == [True]


def test_one_bad_morning_is_not():
    assert settling(1, 1, 6).is_unsettled == [False]


def test_a_settled_morning_afterwards_ends_it():
    assert settling(4, 4, 1).is_unsettled == [False]


def test_a_missing_morning_neither_ends_nor_makes_it():
    found = settling(4, NAN, 4)
    assert (found.is_unsettled[0], found.n_above[0], found.n_missing[0]) == (True, 2, 1)


def test_a_client_whose_usual_morning_is_three_is_settled_at_four():
    assert settling(4, 4, 4, usual=3).is_unsettled == [False]


def test_without_enough_mornings_before_nothing_is_said():
    found = assess_settling(np.array([[1.0, 1, 9, 9]]), np.ones((1, 4)), recent_days=2)
    assert (found.is_unsettled[0], np.isnan(found.usual_morning[0])) == (False, True)


def test_no_mornings_leave_everything_unknown():
    found = assess_settling(np.full((1, 30), NAN), np.zeros((1, 30)))
    assert (found.is_unsettled[0], found.newest_day[0]) == (False, -1)


def test_joint_reps_of_another_shape_are_refused():
    with pytest.raises(ValueError, match="joint_reps must have the shape of next_morning"):
        assess_settling(np.ones((1, 3)), np.ones((1, 4)))


def test_a_higher_median_this_week_is_rising():
    assert compare_weeks(np.array([[1.0, 2, 3, 2, 1, 2, 2, 3, 3, 2, 3, 9, 3, 3]])).is_rising == [True]


def test_one_bad_day_does_not_make_a_week_rise():
    assert compare_weeks(np.array([[2.0] * 13 + [9.0]])).is_rising == [False]


def test_medians_agree_with_those_of_numpy():
    pain = np.random.default_rng(2).integers(0, 11, (20, 14)).astype(float)
    pain[np.random.default_rng(3).random(pain.shape) < 0.3] = NAN
    assert compare_weeks(pain).now == pytest.approx(np.nanmedian(pain[:, 7:], axis=1), nan_ok=True)


def test_a_week_without_reports_does_not_rise():
    assert compare_weeks(np.full((1, 14), NAN)).is_rising == [False]


def test_no_pain_before_cannot_improve():
    assert is_improved(np.array([0.0]), np.array([0.0])) == [False]


def test_unknown_pain_is_no_improvement():
    assert is_improved(np.array([6.0]), np.array([NAN])) == [False]


@pytest.mark.parametrize(
    ("compute", "arguments", "message"),
    [
        (
            is_over_limit,
            (np.array([[11.0]]), np.array([NAN])),
            "pain must lie in 0 to 10 or be missing, got 11",
        ),
        (is_over_limit, (np.ones((2, 3)), np.array([NAN])), "limits must have 2 entries like pain, got"),
        (is_unsettled, (np.array([11.0]), np.array([1.0])), "next_morning must lie in 0 to 10"),
        (is_unsettled, (np.array([1.0]), np.array([-1.0])), "usual_morning must lie in 0 to 10"),
        (is_unsettled, (np.array([1.0]), np.array([1.0]), -1.0), "tolerance must be 0 or more, got -1"),
        (is_improved, (np.array([11.0]), np.array([1.0])), "pain_before must lie in 0 to 10"),
        (is_improved, (np.array([1.0]), np.array([-1.0])), "pain_now must lie in 0 to 10"),
        (compare_weeks, (np.array([[12.0]]),), "pain must lie in 0 to 10"),
    ],
)
def test_pain_off_the_scale_is_named(compute, arguments, message):
    with pytest.raises(ValueError, match=message):
        compute(*arguments)


def test_a_median_within_the_tolerance_is_no_rise():
    pain = np.array([[2.0] * 7 + [3.0] * 7])
    assert compare_weeks(pain).is_rising and not compare_weeks(pain, tolerance=1).is_rising


def test_a_tolerance_below_nothing_is_refused():
    with pytest.raises(ValueError, match="tolerance must be 0 or more, got -1"):
        compare_weeks(np.ones((1, 14)), tolerance=-1)
