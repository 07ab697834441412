import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from coaching.compute.trends import false_discovery_control, mann_kendall, mann_kendall_many
from tests.compute.published_checks.trends import PAIN

ordinal = st.lists(st.integers(0, 10), min_size=2, max_size=25)
p_lists = st.lists(st.floats(0, 1), min_size=1, max_size=30)


@pytest.mark.parametrize("values", [[1, 2, 2, 3], [0, 0, 1, 1, 1], [3, 1, 1, 2, 2, 5], [5, 4, 4, 4, 3, 3, 1]])
def test_the_exact_share_counts_every_order_once(values):
    distance = abs(mann_kendall(values).s)
    everything = [abs(mann_kendall(order).s) for order in itertools.permutations(values)]
    expected = np.mean(np.array(everything) >= distance)
    assert mann_kendall(values).p_exact == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("seed", range(20))
def test_the_exact_p_without_ties_agrees_with_scipy(seed):
    values = np.random.default_rng(seed).permutation(3 + seed % 8)
    expected = stats.kendalltau(np.arange(values.size), values, method="exact").pvalue
    assert mann_kendall(values).p_exact == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("values", [[], [4]])
def test_below_two_values_there_is_no_test(values):
    found = mann_kendall(values)
    assert (found.s, found.variance, found.n) == (0, 0, len(values))
    assert all(math.isnan(each) for each in (found.z, found.p, found.p_exact, found.tau_b))


def test_two_values_say_nothing():
    found = mann_kendall([1, 2])
    assert (found.s, found.z, found.p, found.p_exact, found.tau_b) == (1, 0, 1, 1, 1)


def test_three_values_can_never_be_significant():
    found = mann_kendall([1, 2, 3])
    assert found.s == 3
    assert found.p_exact == pytest.approx(1 / 3)


def test_a_constant_series_has_no_trend():
    found = mann_kendall([3, 3, 3, 3])
    assert (found.s, found.variance, found.z, found.p, found.p_exact) == (0, 0, 0, 1, 1)
    assert math.isnan(found.tau_b)


def test_above_ten_values_there_is_no_exact_p():
    assert math.isnan(mann_kendall(range(11)).p_exact)


def test_missing_values_are_dropped():
    assert mann_kendall([math.nan, *PAIN[:4], math.nan, *PAIN[4:]]) == mann_kendall(PAIN)


def test_many_series_give_what_each_gives_alone():
    generator = np.random.default_rng(3)
    rows = generator.integers(0, 8, (60, 17)).astype(float)
    rows[generator.random(rows.shape) < 0.4] = np.nan
    many = mann_kendall_many(rows)
    for row, values in enumerate(rows):
        one = mann_kendall(values)
        for field in ("s", "variance", "z", "p", "p_exact", "tau_b", "n"):
            assert getattr(many, field)[row] == pytest.approx(getattr(one, field), nan_ok=True)


def test_more_series_than_fit_at_once_are_all_tested(monkeypatch):
    rows = np.random.default_rng(4).integers(0, 5, (7, 6))
    at_once = mann_kendall_many(rows).s
    monkeypatch.setattr("coaching.compute.trends.PAIRS_AT_ONCE", 80)
    assert (mann_kendall_many(rows).s == at_once).all()


def test_no_series_give_no_tests():
    assert mann_kendall_many(np.empty((0, 5))).s.size == 0


@pytest.mark.parametrize(
    ("test", "values", "message"),
    [
        (mann_kendall, [[1, 2]], "values must have one dimension, got 2"),
        (mann_kendall, [1, math.inf], "values must be finite or nan, got inf"),
        (mann_kendall_many, [1, 2], "values must have two dimensions, got 1"),
    ],
)
def test_mann_kendall_names_what_it_cannot_take(test, values, message):
    with pytest.raises(ValueError, match=message):
        test(values)


@given(ordinal)
def test_reversed_time_reverses_the_trend(values):
    forward, backward = mann_kendall(values), mann_kendall(values[::-1])
    assert backward.s == -forward.s
    assert backward.p == pytest.approx(forward.p)


@given(ordinal, st.floats(0.1, 50), st.floats(-20, 20))
def test_the_unit_of_the_values_does_not_matter(values, factor, shift):
    scaled, plain = mann_kendall([factor * each + shift for each in values]), mann_kendall(values)
    assert (scaled.s, scaled.variance) == (plain.s, plain.variance)


@given(ordinal)
def test_p_values_are_shares(values):
    found = mann_kendall(values)
    assert 0 <= found.p <= 1
    assert len(values) > 10 or 0 < found.p_exact <= 1


@given(p_lists)
def test_false_discovery_control_agrees_with_scipy(p_values):
    assert false_discovery_control(p_values) == pytest.approx(
        stats.false_discovery_control(p_values), abs=1e-9
    )


@given(p_lists)
def test_an_adjusted_p_value_is_never_smaller(p_values):
    assert (false_discovery_control(p_values) >= np.array(p_values) - 1e-12).all()


def test_what_was_not_tested_is_not_counted():
    adjusted = false_discovery_control([0.01, math.nan, 0.04])
    assert adjusted[[0, 2]] == pytest.approx([0.02, 0.04])
    assert math.isnan(adjusted[1])


def test_no_tests_have_no_adjusted_p_values():
    assert false_discovery_control([]).size == 0


@pytest.mark.parametrize(
    ("p_values", "message"),
    [
        ([0.5, 1.5], "p_values must lie in 0 to 1 or be nan, got 1.5"),
        ([[0.5]], "p_values must have one dimension, got 2"),
    ],
)
def test_false_discovery_control_names_what_it_cannot_take(p_values, message):
    with pytest.raises(ValueError, match=message):
        false_discovery_control(p_values)
