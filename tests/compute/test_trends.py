import itertools
import math

import numpy as np
import pymannkendall
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from coaching.compute.trends import false_discovery_control, mann_kendall, mann_kendall_many

# Invented ordinal pain of ten days; statistics reckoned from the formulas.
PAIN = [2, 2, 3, 2, 3, 3, 4, 3, 4, 5]

# Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300, the fifteen p values of the example (seen).
BH_1995 = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
    0.7590, 1.0,
]  # fmt: skip

ordinal = st.lists(st.integers(0, 10), min_size=2, max_size=25)
p_lists = st.lists(st.floats(0, 1), min_size=1, max_size=30)


def generated_series(seed):
    generator = np.random.default_rng(seed)
    n = int(generator.integers(3, 40))
    return generator.integers(0, generator.integers(2, 30), n).astype(float)


# Wisconsin administrative code, five concentrations: S seen; the rest follows from the formulas.
def test_mann_kendall_of_the_wisconsin_code():
    found = mann_kendall([100, 50, 85, 75, 50])
    assert found.s == -5
    assert found.variance == pytest.approx(15.66667, abs=1e-5)
    assert found.z == pytest.approx(-1.010582, abs=1e-5)
    assert found.p == pytest.approx(0.3122, abs=1e-4)
    assert found.p_exact == pytest.approx(1 / 3, abs=1e-12)
    assert found.tau_b == pytest.approx(-0.5270, abs=1e-4)


# EPA QA/G-9, five concentrations: data and 0.117 from memory.
def test_mann_kendall_of_the_epa_guidance():
    found = mann_kendall([5, 6, 11, 8, 10])
    assert found.s == 6
    assert found.z == pytest.approx(1.224745, abs=1e-6)
    assert found.p_exact / 2 == pytest.approx(0.11667, abs=1e-5)


def test_mann_kendall_of_a_tied_pain_series():
    found = mann_kendall(PAIN)
    assert found.s == 31
    assert found.variance == pytest.approx(111.66667, abs=1e-5)
    assert found.z == pytest.approx(2.838961, abs=1e-6)
    assert found.p == pytest.approx(0.004526, abs=1e-6)
    assert found.tau_b == pytest.approx(0.781127, abs=1e-6)


# 200,000 random orders gave 0.0019.
def test_the_exact_p_of_a_tied_pain_series_agrees_with_random_orders():
    assert mann_kendall(PAIN).p_exact == pytest.approx(0.0019, abs=2e-4)


def test_the_variance_of_ten_values_without_ties_is_125():
    assert mann_kendall(range(10)).variance == 125


# One-sided 5 % points, as in a published table of a monitoring software (seen).
@pytest.mark.parametrize(("n", "smallest_s"), [(4, 6), (5, 8), (6, 11), (7, 13), (8, 16), (9, 18), (10, 21)])
def test_the_smallest_significant_s_is_that_of_the_table(n, smallest_s):
    assert one_sided_exact(n, smallest_s) <= 0.05 < one_sided_exact(n, smallest_s - 2)


# Kendall's exact distribution, reckoned by enumeration.
@pytest.mark.parametrize(
    ("n", "s", "p"),
    [(5, 8, 0.041667), (4, 4, 0.1667), (6, 9, 0.0681), (7, 15, 0.0151), (8, 20, 0.0071), (10, 27, 0.0083)],
)
def test_the_exact_share_is_that_of_the_table(n, s, p):
    assert one_sided_exact(n, s) == pytest.approx(p, abs=5e-5)


def one_sided_exact(n, s):
    """Half the two-sided share, from an order of 1..n whose s is the one wanted."""
    order = list(range(n))
    inversions = (n * (n - 1) // 2 - s) // 2
    for place in range(n):
        step = min(inversions, n - 1 - place)
        order.insert(place, order.pop(place + step))
        inversions -= step
    found = mann_kendall(order)
    assert found.s == s
    return found.p_exact / 2


@pytest.mark.parametrize("values", [[1, 2, 2, 3], [0, 0, 1, 1, 1], [3, 1, 1, 2, 2, 5], [5, 4, 4, 4, 3, 3, 1]])
def test_the_exact_share_counts_every_order_once(values):
    distance = abs(mann_kendall(values).s)
    everything = [abs(mann_kendall(order).s) for order in itertools.permutations(values)]
    expected = np.mean(np.array(everything) >= distance)
    assert mann_kendall(values).p_exact == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("seed", range(40))
def test_mann_kendall_agrees_with_pymannkendall(seed):
    values = generated_series(seed)
    found, oracle = mann_kendall(values), pymannkendall.original_test(values)
    assert found.s == oracle.s
    assert [found.variance, found.z, found.p] == pytest.approx([oracle.var_s, oracle.z, oracle.p], abs=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_tau_b_agrees_with_scipy(seed):
    values = generated_series(seed)
    expected = stats.kendalltau(np.arange(values.size), values).statistic
    assert mann_kendall(values).tau_b == pytest.approx(expected, abs=1e-9, nan_ok=True)


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
        (mann_kendall, [1, math.inf], "values must be finite or nan, got an infinite value"),
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


def test_false_discovery_control_rejects_four_of_the_fifteen():
    assert (false_discovery_control(BH_1995) <= 0.05).sum() == 4


def test_false_discovery_control_rejects_nine_at_ten_percent():
    assert (false_discovery_control(BH_1995) <= 0.10).sum() == 9


def test_the_adjusted_p_values_follow_from_the_formula():
    adjusted = false_discovery_control(BH_1995)
    assert [adjusted[3], adjusted[4], adjusted[5]] == pytest.approx([0.035625, 0.0603, 0.063857], abs=1e-6)


# Documentation of an open library (seen).
def test_false_discovery_control_keeps_the_order_given():
    adjusted = false_discovery_control([0.008, 0.03, 0.123, 0.6, 0.2])
    assert adjusted == pytest.approx([0.04, 0.075, 0.205, 0.6, 0.25], abs=1e-12)


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
