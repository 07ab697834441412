import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from coaching.compute.side_difference import (
    SideSettings,
    lift_side_differences,
    pain_side_differences,
)

KG_PER_LB = 0.45359237

exposures = st.lists(
    st.tuples(st.integers(1, 84), st.sampled_from([math.nan, 60.0, 62.5, 65.0, 80.0])),
    min_size=1,
    max_size=10,
)
pains = st.lists(st.sampled_from([math.nan, 0.0, 1.0, 3.0, 6.0]), min_size=1, max_size=30)


def lifts(left, right, *, left_days=None, right_days=None, as_of_day=84.0, **constants):
    """Of one lift, from e1RM a side; without days, one exposure a week from day 7 on."""
    weeks = [7.0 * (1 + np.arange(len(side))) if days is None else np.array(days, dtype=float)
             for side, days in ((left, left_days), (right, right_days))]  # fmt: skip
    return lift_side_differences(
        weeks[0][None, :],
        np.array([left], dtype=float),
        weeks[1][None, :],
        np.array([right], dtype=float),
        as_of_day=as_of_day,
        settings=SideSettings(**constants),
    )


def of_exposures(left, right, factor=1.0):
    (left_days, left_kg), (right_days, right_kg) = (zip(*side, strict=True) for side in (left, right))
    return lifts(
        factor * np.array(left_kg), factor * np.array(right_kg), left_days=left_days, right_days=right_days
    )


def joints(left, right, **constants):
    return pain_side_differences(
        np.array([left], dtype=float), np.array([right], dtype=float), settings=SideSettings(**constants)
    )


def test_the_difference_is_right_less_left_over_the_larger():
    assert lifts([80] * 3, [100] * 3).difference == pytest.approx([20])
    assert lifts([100] * 3, [80] * 3).difference == pytest.approx([-20])


def test_levels_are_geometric_means():
    found = lifts([80, 100], [90, 90])
    assert (found.left, found.right) == (pytest.approx([math.sqrt(8000)]), pytest.approx([90]))


def test_few_exposures_are_believed_no_better_than_the_assumed_noise():
    found = lifts([80] * 3, [85] * 3)
    assert found.noise_left == found.noise_right == pytest.approx([0.042])
    assert found.noise_half_width == pytest.approx([6.72], abs=0.01)


def test_few_scattered_exposures_show_their_own_noise():
    assert lifts([60, 90, 60], [80] * 3).noise_left > 0.2


def test_many_like_exposures_bring_the_noise_down_but_not_to_zero():
    found = lifts([80] * 10, [80] * 10)
    assert 0 < found.noise_left < 0.03


def test_a_steady_gain_of_both_sides_is_no_noise():
    gains = 80 * np.exp(0.01 * np.arange(10.0))
    assert lifts(gains, 1.1 * gains).noise_left < 0.03


def test_a_side_that_is_trained_later_is_not_ahead_for_it():
    rate, left_days, right_days = 0.003, np.arange(1.0, 30, 3), np.arange(40.0, 70, 3)
    left, right = (80 * np.exp(rate * days) for days in (left_days, right_days))
    found = lifts(left, right, left_days=left_days, right_days=right_days)
    assert found.right > 1.1 * found.left
    assert found.difference == pytest.approx([0], abs=1e-9)
    assert found.is_within_noise


def test_sides_trained_on_other_days_are_known_less_well():
    sides = [80.0] * 5, [80.0] * 5
    together = lifts(*sides, left_days=range(1, 30, 6), right_days=range(1, 30, 6))
    apart = lifts(*sides, left_days=range(1, 30, 6), right_days=range(41, 70, 6))
    assert apart.noise_half_width > 2 * together.noise_half_width


@pytest.mark.parametrize(("right", "is_within"), [(85.0, True), (86.0, False)])
def test_a_difference_up_to_the_half_width_is_within_noise(right, is_within):
    found = lifts([80] * 3, [right] * 3)
    assert found.is_within_noise == [is_within]
    assert (found.low[0] <= 0 <= found.high[0]) == is_within


def test_only_the_window_is_looked_at():
    found = lifts(
        [10, 80, 80, 999], [80] * 2, left_days=[10, 50, 60, 101], right_days=[50, 60], as_of_day=100
    )
    assert (found.n_left, found.left) == ([2], pytest.approx([80]))


def test_exposures_without_an_estimate_do_not_count():
    assert lifts([80, math.nan, 80], [80]).n_left == [2]


@pytest.mark.parametrize(("left", "right"), [([], [80]), ([80], [math.nan]), ([], [])])
def test_a_side_without_exposures_has_no_difference(left, right):
    found = lifts(left, right)
    assert math.isnan(found.difference[0])
    assert math.isnan(found.high[0])
    assert not found.is_within_noise[0]


def test_one_exposure_a_side_has_the_noise_of_one():
    assert lifts([80], [90]).noise_half_width == pytest.approx([11.64], abs=0.01)


def test_one_exposure_a_side_on_other_days_is_compared_as_it_is():
    assert lifts([80], [100], left_days=[1], right_days=[80]).difference == pytest.approx([20])


def test_the_slope_and_noise_of_a_side_are_those_of_scipy():
    rng = np.random.default_rng(8)
    days, logs = np.sort(rng.uniform(1, 84, 12)), 4.4 + rng.normal(0, 0.05, 12)
    line = stats.linregress(days, logs)
    own = np.sqrt(np.sum((logs - line.intercept - line.slope * days) ** 2) / 10)
    found = lifts(np.exp(logs), [80] * 3, left_days=days, assumed_worth=0)
    assert found.noise_left == pytest.approx([own])


def test_without_an_assumption_two_exposures_are_not_believed_exact():
    assert lifts([80] * 2, [90] * 2, assumed_worth=0).noise_left == pytest.approx([0.042])


def test_lifts_are_compared_apart():
    rng = np.random.default_rng(5)
    days, kg = rng.uniform(1, 84, (2, 5, 8)), rng.uniform(60, 90, (2, 5, 8))
    kg[rng.random(kg.shape) < 0.2] = np.nan
    together = lift_side_differences(days[0], kg[0], days[1], kg[1], as_of_day=84)
    for row in range(5):
        alone = lifts(kg[0, row], kg[1, row], left_days=days[0, row], right_days=days[1, row])
        assert alone.difference == pytest.approx(together.difference[row : row + 1])
        assert alone.high == pytest.approx(together.high[row : row + 1])


@pytest.mark.parametrize(("n", "noise"), [(3, 0.042), (6, 0.042), (6, 0.08), (12, 0.02), (24, 0.05)])
def test_equal_sides_are_told_apart_no_more_often_than_one_time_in_eight(n, noise):
    rng = np.random.default_rng(1)
    days = np.sort(rng.uniform(0.5, 84, (2, 2000, n)), axis=2)
    kg = 80 * np.exp(0.0007 * days + rng.normal(0, noise, days.shape))
    found = lift_side_differences(days[0], kg[0], days[1], kg[1], as_of_day=84)
    assert np.mean(~found.is_within_noise) < 0.125
    assert abs(np.mean(found.difference)) < 0.5


def test_a_difference_of_a_fifth_is_found():
    rng = np.random.default_rng(2)
    days = np.tile(np.arange(3.5, 84, 7), (2, 500, 1))
    kg = np.array([80, 100])[:, None, None] * np.exp(rng.normal(0, 0.05, days.shape))
    found = lift_side_differences(days[0], kg[0], days[1], kg[1], as_of_day=84)
    assert np.mean(found.is_within_noise) < 0.01


@given(exposures, exposures)
def test_swapping_the_sides_of_a_lift_flips_the_sign(left, right):
    one, other = of_exposures(left, right), of_exposures(right, left)
    assert other.difference == pytest.approx(-one.difference, nan_ok=True)
    assert other.low == pytest.approx(-one.high, nan_ok=True)
    assert other.is_within_noise == one.is_within_noise


@given(exposures, exposures)
def test_pounds_give_the_same_percent(left, right):
    in_kg, in_lb = of_exposures(left, right), of_exposures(left, right, 1 / KG_PER_LB)
    assert in_lb.difference == pytest.approx(in_kg.difference, abs=1e-9, nan_ok=True)
    assert in_lb.noise_half_width == pytest.approx(in_kg.noise_half_width, nan_ok=True)


@given(exposures, exposures, st.randoms(use_true_random=False))
def test_the_order_of_exposures_does_not_matter(left, right, shuffler):
    shuffled = list(left)
    shuffler.shuffle(shuffled)
    one, other = of_exposures(left, right), of_exposures(shuffled, right)
    assert other.high == pytest.approx(one.high, nan_ok=True)


@given(exposures, exposures)
def test_a_difference_stays_below_the_whole_and_inside_its_interval(left, right):
    found = of_exposures(left, right)
    if not math.isnan(found.difference[0]):
        assert -100 < found.low[0] < found.difference[0] < found.high[0] < 100


def test_pain_is_compared_in_points():
    found = joints([1] * 20, [4] * 20)
    assert (found.difference, found.left, found.right) == ([3], [1], [4])
    assert not found.is_within_noise


def test_one_report_a_side_has_the_noise_of_one():
    assert joints([2], [4]).noise_half_width == pytest.approx([2.8273], abs=1e-3)


def test_days_alike_count_for_fewer_than_they_are():
    alike, apart = (joints([1, 3] * 10, [2] * 20, day_correlation=r) for r in (0.7, 0.0))
    assert alike.noise_half_width > 1.5 * apart.noise_half_width


def test_without_correlation_the_error_of_a_mean_is_that_of_scipy():
    pain = np.random.default_rng(3).integers(0, 7, 20)
    found = joints(pain, pain, day_correlation=0, assumed_worth=0)
    assert found.noise_half_width == pytest.approx([1.959964 * math.sqrt(2) * stats.sem(pain)], rel=1e-6)


def test_days_without_a_report_do_not_count():
    found = joints([1, math.nan, 1], [math.nan, 2, math.nan])
    assert (found.n_left, found.n_right, found.difference) == ([2], [1], [1])


def test_only_the_newest_days_of_pain_are_looked_at():
    assert joints([9] + [1] * 84, [1] * 85).left == [1]


@pytest.mark.parametrize("left", [[], [math.nan]])
def test_a_side_without_reports_has_no_difference(left):
    found = joints(left, [math.nan if not np.isnan(each) else 3.0 for each in left])
    assert math.isnan(found.difference[0])
    assert not found.is_within_noise[0]


def test_equal_pain_that_wanders_from_day_to_day_is_seldom_told_apart():
    rng = np.random.default_rng(6)
    wander = np.zeros((2, 800, 84))
    wander[:, :, 0] = rng.normal(size=(2, 800))
    for day in range(1, 84):
        wander[:, :, day] = 0.7 * wander[:, :, day - 1] + math.sqrt(0.51) * rng.normal(size=(2, 800))
    pain = np.clip(np.round(3 + wander), 0, 10)
    pain[rng.random(pain.shape) < 0.5] = np.nan
    assert 0.02 < np.mean(~pain_side_differences(pain[0], pain[1]).is_within_noise) < 0.09


@given(pains, pains)
def test_swapping_the_sides_of_a_joint_flips_the_sign(left, right):
    n = min(len(left), len(right))
    one, other = joints(left[:n], right[:n]), joints(right[:n], left[:n])
    assert other.difference == pytest.approx(-one.difference, nan_ok=True)
    assert other.low == pytest.approx(-one.high, nan_ok=True)


ROW = np.ones((1, 3))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((ROW, ROW[0], ROW, ROW), "left_e1rm_kg must have two dimensions, got 1"),
        ((ROW, ROW, ROW, ROW[:, :2]), "right_e1rm_kg must have the shape of right_days"),
        ((ROW, ROW, np.ones((2, 3)), np.ones((2, 3))), "right_days must have 1 rows like left_days, got 2"),
        ((ROW, 0 * ROW, ROW, ROW), "left_e1rm_kg must be finite and above 0, or nan, got 0"),
        ((ROW, ROW, ROW, math.inf * ROW), "right_e1rm_kg must be finite and above 0, or nan, got inf"),
    ],
)
def test_impossible_exposures_are_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        lift_side_differences(*arguments, as_of_day=84)


@pytest.mark.parametrize(
    ("left", "right", "message"),
    [
        (ROW[0], ROW[0], "left_pain must have two dimensions, got 1"),
        (ROW, ROW[:, :2], "right_pain must have the shape of left_pain"),
        (11 * ROW, ROW, "left_pain must lie in 0 to 10"),
        (ROW, -ROW, "right_pain must lie in 0 to 10"),
    ],
)
def test_impossible_pain_is_refused(left, right, message):
    with pytest.raises(ValueError, match=message):
        pain_side_differences(left, right)


@pytest.mark.parametrize(
    ("constant", "message"),
    [
        ({"window_days": 0}, "window_days must be 1 or more, got 0"),
        ({"confidence": 1.0}, "confidence must lie between 0 and 1, got 1"),
        ({"day_correlation": 1.0}, "day_correlation must be at least 0 and below 1, got 1"),
        ({"assumed_noise": -0.1}, "assumed_noise must be finite and 0 or more, got -0.1"),
        ({"assumed_pain_noise": math.nan}, "assumed_pain_noise must be finite and 0 or more, got nan"),
        ({"assumed_worth": -1.0}, "assumed_worth must be finite and 0 or more, got -1"),
        ({"min_own": 2}, "min_own must be 3 or more, got 2"),
    ],
)
def test_impossible_constants_are_refused(constant, message):
    settings = replace(SideSettings(), **constant)
    with pytest.raises(ValueError, match=message):
        pain_side_differences(ROW, ROW, settings=settings)
    with pytest.raises(ValueError, match=message):
        lift_side_differences(ROW, ROW, ROW, ROW, as_of_day=84, settings=settings)
