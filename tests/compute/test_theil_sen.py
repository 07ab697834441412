import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.trends import theil_sen, theil_sen_many
from tests.compute.published_checks.trends import DAYS, PAIN

points = st.lists(
    st.tuples(st.integers(0, 60), st.integers(0, 20)),
    min_size=3,
    max_size=20,
    unique_by=lambda point: point[0],
)


@pytest.mark.parametrize(("times", "values"), [([], []), ([1], [4]), ([2, 2, 2], [1, 5, 9])])
def test_without_two_times_there_is_no_line(times, values):
    line = theil_sen(times, values)
    assert line.n == len(values)
    assert all(math.isnan(each) for each in (line.slope, line.low, line.high, line.intercept))


def test_two_values_give_the_line_through_both():
    line = theil_sen([1, 3], [10, 14])
    assert (line.slope, line.intercept, line.low, line.high) == (2, 8, 2, 2)


def test_three_values_give_the_middle_of_three_slopes():
    assert theil_sen([0, 1, 2], [0, 1, 8]).slope == 4


def test_a_constant_series_is_flat_with_limits_of_nought():
    line = theil_sen(range(6), [3] * 6)
    assert (line.slope, line.low, line.high, line.intercept) == (0, 0, 0, 3)


def test_limits_are_undefined_where_sens_variance_is_negative():
    line = theil_sen([0, 0, 0, 1], [2, 2, 2, 2])
    assert line.slope == 0
    assert math.isnan(line.low)
    assert math.isnan(line.high)


def test_a_value_that_misses_either_number_is_dropped():
    gappy = theil_sen([0, 1, math.nan, 3, 4], [2, math.nan, 9, 3, 5])
    assert gappy == theil_sen([0, 3, 4], [2, 3, 5])


def test_the_order_given_does_not_matter():
    assert theil_sen(DAYS[::-1], PAIN[::-1]) == theil_sen(DAYS, PAIN)


def test_many_series_give_what_each_gives_alone():
    generator = np.random.default_rng(5)
    rows = generator.integers(0, 8, (50, 14)).astype(float)
    rows[generator.random(rows.shape) < 0.5] = np.nan
    times = np.sort(generator.integers(0, 40, rows.shape), axis=1).astype(float)
    many = theil_sen_many(times, rows)
    for row in range(len(rows)):
        one = theil_sen(times[row], rows[row])
        for field in ("slope", "low", "high", "intercept", "n"):
            assert getattr(many, field)[row] == pytest.approx(getattr(one, field), nan_ok=True)


def test_more_series_than_fit_at_once_all_get_a_line(monkeypatch):
    rows = np.random.default_rng(4).integers(0, 5, (7, 6))
    at_once = theil_sen_many(range(6), rows).slope
    monkeypatch.setattr("coaching.compute.trends.PAIRS_AT_ONCE", 40)
    assert (theil_sen_many(range(6), rows).slope == at_once).all()


def test_series_without_columns_have_no_line():
    assert np.isnan(theil_sen_many(np.empty((2, 0)), np.empty((2, 0))).slope).all()


@pytest.mark.parametrize(
    ("fit", "arguments", "message"),
    [
        (theil_sen, ([0, 1], [1, 2, 3]), "times and values must have one dimension and one length"),
        (theil_sen, ([0, 1], [1, 2], 1.0), "confidence must lie between 0 and 1, got 1.0"),
        (theil_sen, ([0, 1], [1, math.inf]), "values must be finite or nan, got inf"),
        (theil_sen, ([0, math.inf], [1, 2]), "times must be finite or nan, got inf"),
        (theil_sen_many, ([0, 1, 2], [[1, 2]]), r"times must fit values of shape \(1, 2\), got \(1, 3\)"),
        (theil_sen_many, ([0, 1], [1, 2]), "values must have two dimensions, got 1"),
    ],
)
def test_theil_sen_names_what_it_cannot_take(fit, arguments, message):
    with pytest.raises(ValueError, match=message):
        fit(*arguments)


@given(points, st.floats(0.1, 50), st.floats(-20, 20))
def test_the_slope_is_in_the_unit_of_the_values(pairs, factor, shift):
    times, values = zip(*pairs, strict=True)
    scaled = theil_sen(times, [factor * each + shift for each in values])
    assert scaled.slope == pytest.approx(factor * theil_sen(times, values).slope, abs=1e-9)


@given(points)
def test_the_slope_lies_within_its_limits(pairs):
    line = theil_sen(*zip(*pairs, strict=True))
    assert line.low <= line.slope <= line.high


@given(points)
def test_more_confidence_never_narrows_the_limits(pairs):
    times, values = zip(*pairs, strict=True)
    wide, narrow = theil_sen(times, values, 0.99), theil_sen(times, values, 0.8)
    assert wide.low <= narrow.low
    assert narrow.high <= wide.high
