import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.strength import (
    FORMULAS,
    estimated_1rm,
    estimated_1rm_band,
    estimated_1rm_many,
    is_valid_for_1rm,
    load_for_reps,
    reps_for_load,
    share_of_1rm,
)

loads = st.floats(0.5, 500)
reps_done = st.integers(1, 20)
reserves = st.sampled_from([0, 0.5, 1, 1.5, 2, 3, 4])
formulas = st.sampled_from(FORMULAS)


def test_half_a_rep_in_reserve_is_allowed():
    assert estimated_1rm(100, 5, 0.5) == pytest.approx(100 * (1 + 5.5 / 30))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((0, 5), "load_kg must be a finite number above 0, got 0"),
        ((math.nan, 5), "load_kg must be a finite number above 0, got nan"),
        ((math.inf, 5), "load_kg must be a finite number above 0, got inf"),
        ((100, 0), "reps must be 1 or more, got 0"),
        ((100, math.nan), "reps must be 1 or more, got nan"),
        ((100, 5, -1), "rir must be 0 or more, got -1"),
        ((100, 5, math.inf), "rir must be 0 or more, got inf"),
        ((100, 35, 2, "brzycki"), r"reps \+ rir must be below 37 for brzycki, got 37"),
        ((100, 5, 0, "guess"), "formula must be one of epley, brzycki, .*, got guess"),
    ],
)
def test_an_argument_out_of_range_is_named_with_rule_and_value(arguments, message):
    with pytest.raises(ValueError, match=message):
        estimated_1rm(*arguments)


def test_just_below_the_pole_brzycki_is_still_computed():
    assert estimated_1rm(100, 36, 0.5, "brzycki") == pytest.approx(7200)


@pytest.mark.parametrize("formula", FORMULAS)
def test_the_array_form_agrees_with_the_single_one(formula):
    generator = np.random.default_rng(7)
    load, reps = generator.uniform(1, 300, 200), generator.integers(1, 21, 200)
    rir = generator.choice([0, 0.5, 1, 3], 200)
    single = [estimated_1rm(*each, formula) for each in zip(load, reps, rir, strict=True)]
    assert estimated_1rm_many(load, reps, rir, formula) == pytest.approx(single, rel=1e-12)


def test_the_array_form_is_nan_where_undefined():
    found = estimated_1rm_many(
        [100, 0, math.nan, math.inf, 100, 100, 100],
        [37, 5, 5, 5, 0, 5, math.nan],
        [0, 0, 0, 0, 1, -1, 0],
        "brzycki",
    )
    assert np.isnan(found).all()


def test_the_array_form_refuses_an_unknown_formula():
    with pytest.raises(ValueError, match="formula must be one of"):
        estimated_1rm_many([100.0], [5], 0, "guess")


def test_the_band_is_one_rep_either_side():
    band = estimated_1rm_band(100, 5, 2)
    expected = [estimated_1rm(100, 6), estimated_1rm(100, 7), estimated_1rm(100, 8)]
    assert [band.low, band.mid, band.high] == pytest.approx(expected)


def test_the_band_of_a_true_maximum_does_not_fall_below_it():
    assert estimated_1rm_band(100, 1).low == 100


def test_the_band_has_no_upper_end_at_the_pole():
    assert math.isnan(estimated_1rm_band(100, 36, 0, "brzycki").high)


def test_a_load_above_the_maximum_leaves_no_rep():
    assert reps_for_load(100, 100.5) == 0


@pytest.mark.parametrize("formula", FORMULAS)
def test_the_maximum_leaves_one_rep(formula):
    assert reps_for_load(100, 100, formula) == 1


def test_a_load_within_the_first_step_of_the_formula_leaves_one_rep():
    assert reps_for_load(100, 98) == 1


@pytest.mark.parametrize(("formula", "load_kg"), [("mayhew", 52.2), ("wathan", 48.0)])
def test_a_load_below_the_curve_has_no_number_of_reps(formula, load_kg):
    assert math.isnan(reps_for_load(100, load_kg, formula))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((0, 50), "one_rm_kg must be a finite number above 0, got 0"),
        ((100, -5), "load_kg must be a finite number above 0, got -5"),
        ((100, 50, "guess"), "formula must be one of"),
    ],
)
def test_reps_for_load_names_what_is_out_of_range(arguments, message):
    with pytest.raises(ValueError, match=message):
        reps_for_load(*arguments)


def test_load_for_reps_names_what_is_out_of_range():
    with pytest.raises(ValueError, match="one_rm_kg must be a finite number above 0, got -1"):
        load_for_reps(-1, 5)


@given(load_kg=loads, reps=st.integers(2, 20), formula=formulas)
def test_reps_come_back_from_the_load(load_kg, reps, formula):
    one_rm_kg = estimated_1rm(load_kg, reps, 0, formula)
    assert reps_for_load(one_rm_kg, load_kg, formula) == pytest.approx(reps, abs=1e-6)


@given(load_kg=loads, reps=reps_done, rir=reserves, formula=formulas)
def test_the_load_comes_back_from_the_maximum(load_kg, reps, rir, formula):
    one_rm_kg = estimated_1rm(load_kg, reps, rir, formula)
    assert load_for_reps(one_rm_kg, reps, rir, formula) == pytest.approx(load_kg, rel=1e-12)


@given(load_kg=loads, reps=reps_done, rir=reserves, formula=formulas)
def test_the_unit_of_the_load_does_not_matter(load_kg, reps, rir, formula):
    in_pounds = estimated_1rm(load_kg / 0.45359237, reps, rir, formula)
    assert in_pounds * 0.45359237 == pytest.approx(estimated_1rm(load_kg, reps, rir, formula), rel=1e-12)


@given(load_kg=loads, reps=reps_done, rir=reserves, formula=formulas)
def test_one_more_rep_or_one_more_kilogram_raises_the_estimate(load_kg, reps, rir, formula):
    estimate = estimated_1rm(load_kg, reps, rir, formula)
    assert estimated_1rm(load_kg, reps + 1, rir, formula) > estimate
    assert estimated_1rm(load_kg + 1, reps, rir, formula) > estimate


@given(reps=reps_done, rir=reserves, formula=formulas)
def test_the_share_of_the_maximum_is_the_inverse_of_the_estimate(reps, rir, formula):
    assert share_of_1rm(reps, rir, formula) * estimated_1rm(100, reps, rir, formula) == pytest.approx(100)


def test_a_fresh_work_set_near_failure_is_valid():
    assert is_valid_for_1rm(6, 4, ended_by_pain=False, is_fresh=True)


@pytest.mark.parametrize(
    ("reps", "rir", "changed"),
    [
        pytest.param(6, 4.5, {}, id="reserve above 4"),
        pytest.param(8, 3, {}, id="more than ten in all"),
        pytest.param(6, None, {}, id="reserve not known"),
        pytest.param(6, math.nan, {}, id="reserve nan"),
        pytest.param(0, 1, {}, id="no rep done"),
        pytest.param(6, 1, {"ended_by_pain": True}, id="ended by pain"),
        pytest.param(6, 1, {"is_fresh": False}, id="second of a pair"),
        pytest.param(6, 1, {"is_work_set": False}, id="warm-up"),
        pytest.param(6, 1, {"is_full_range": False}, id="part of the range"),
        pytest.param(6, 1, {"is_assisted": True}, id="assisted"),
    ],
)
def test_other_sets_are_not_valid(reps, rir, changed):
    assert not is_valid_for_1rm(reps, rir, **{"ended_by_pain": False, "is_fresh": True, **changed})


def test_the_cap_can_be_raised_to_fifteen_for_one_prescription():
    assert is_valid_for_1rm(13, 2, ended_by_pain=False, is_fresh=True, max_reps_and_rir=15)


def test_the_cap_cannot_be_raised_above_fifteen():
    with pytest.raises(ValueError, match="max_reps_and_rir must lie in 1 to 15, got 16"):
        is_valid_for_1rm(8, 0, ended_by_pain=False, is_fresh=True, max_reps_and_rir=16)
