"""Volume of the last fortnight against the ordinary weeks before."""

import numpy as np
import pytest

from coaching.compute.volume_change import compare_volume, volume_change_since


def daily(*weekly_joint_reps: float) -> np.ndarray:
    return np.repeat([weekly_joint_reps], 7, axis=1) / 7


def test_volume_that_does_not_change_changes_by_nothing():
    assert compare_volume(daily(*[70.0] * 12)).change == pytest.approx([0.0])


def test_a_fifth_more_in_the_last_fortnight_is_a_fifth_more():
    assert compare_volume(daily(*[70.0] * 6, 84, 84)).change == pytest.approx([0.2])


def test_a_week_thirty_per_cent_lower_is_left_out_of_the_weeks_before():
    found = compare_volume(daily(70, 70, 49, 70, 70, 70, 70, 70))
    assert (found.before_per_week[0], found.n_weeks_left_out[0]) == (pytest.approx(70), 1)


def test_a_week_a_quarter_lower_is_kept():
    assert compare_volume(daily(70, 70, 52.5, 70, 70, 70, 70, 70)).n_weeks_left_out == [0]


def test_a_deload_now_is_no_rise():
    assert compare_volume(daily(*[70.0] * 8, 35, 35)).change == pytest.approx([-0.5])


def test_the_weeks_before_a_long_break_stand_in_for_an_empty_window():
    found = compare_volume(daily(70, 70, 70, 0, 0, 0, 0, 0, 0, 77, 77))
    assert found.change == pytest.approx([0.1])


def test_a_planned_deload_is_left_out_however_small():
    joint_reps = daily(70, 70, 63, 70, 70, 70, 70, 70)
    is_planned = np.zeros(joint_reps.shape, dtype=bool)
    is_planned[:, 14:21] = True
    assert compare_volume(joint_reps, is_planned_deload=is_planned).before_per_week == pytest.approx([70])


def test_change_does_not_depend_on_the_unit_of_exposure():
    joint_reps = daily(60, 66, 72, 40, 63, 70, 77, 84)
    assert compare_volume(3 * joint_reps).change == pytest.approx(compare_volume(joint_reps).change)


def test_change_is_nan_without_training_before():
    assert np.isnan(compare_volume(daily(0, 0, 0, 0, 70, 70)).change[0])


def test_change_is_nan_where_the_history_is_shorter_than_the_fortnight():
    assert np.isnan(compare_volume(np.ones((1, 10))).change[0])


def test_no_days_at_all_give_nan():
    assert np.isnan(compare_volume(np.ones((2, 0))).recent_per_week).all()


def test_no_series_give_no_entries():
    assert compare_volume(np.ones((0, 84))).change.shape == (0,)


def test_joint_reps_must_have_two_dimensions():
    with pytest.raises(ValueError, match="joint_reps must have two dimensions, got 1"):
        compare_volume(np.ones(84))


def test_joint_reps_must_not_be_missing():
    with pytest.raises(ValueError, match="joint_reps must be 0 or more on every day"):
        compare_volume(np.full((1, 84), np.nan))


def test_a_fall_over_all_weeks_since_outweighs_a_fortnight_that_wavers_up():
    joint_reps = daily(*[70.0] * 6, 56, 56, 56, 56, 75, 75)
    assert compare_volume(joint_reps).change[0] > 0
    assert volume_change_since(joint_reps, np.array([42])) == pytest.approx([374 / 420 - 1])


def test_deloads_are_left_out_since_and_before():
    joint_reps = daily(70, 70, 35, 70, 70, 77, 77, 35, 77)
    assert volume_change_since(joint_reps, np.array([28])) == pytest.approx([0.1])


def test_since_yesterday_means_the_last_two_weeks():
    joint_reps = daily(70, 70, 70, 77, 77)
    assert volume_change_since(joint_reps, np.array([1])) == pytest.approx([0.1])


def test_one_ordinary_week_on_a_side_is_too_few_to_compare():
    assert np.isnan(volume_change_since(daily(70, 77, 77), np.array([14]))).all()


def test_no_days_give_no_change_since():
    assert np.isnan(volume_change_since(np.ones((1, 0)), np.array([14]))).all()
