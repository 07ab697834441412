import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.workload import (
    change_against_trained_weeks,
    ewma,
    ewma_after_gap,
    ewma_ratio,
    monotony,
    rolling_ratio,
    session_load,
    strain,
    weekly_total,
)
from tests.compute.published_checks.load import STEP, WEEK_A

weeks = st.lists(st.integers(0, 900), min_size=7, max_size=7)
histories = st.lists(st.integers(1, 900), min_size=28, max_size=80)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((11, 60), "session_rpe must lie in 0 to 10, got 11"),
        ((math.nan, 60), "session_rpe must lie in 0 to 10, got nan"),
        ((7, -1), "duration_min must be a finite number of 0 or more, got -1"),
        ((7, math.inf), "duration_min must be a finite number of 0 or more, got inf"),
    ],
)
def test_session_load_names_what_is_out_of_range(arguments, message):
    with pytest.raises(ValueError, match=message):
        session_load(*arguments)


@pytest.mark.parametrize("load", [0, 0.1, 300])
def test_seven_equal_days_have_no_monotony(load):
    assert math.isnan(monotony([load] * 7))
    assert math.isnan(strain([load] * 7))


def test_a_week_with_an_unobserved_day_has_neither_total_nor_monotony():
    week = [300, math.nan, 525, 0, 360, 360, 0]
    assert math.isnan(weekly_total(week))
    assert math.isnan(monotony(week))


@given(weeks, st.floats(0.1, 10))
def test_monotony_does_not_depend_on_the_unit_of_load(week, factor):
    scaled = monotony([factor * load for load in week])
    assert scaled == pytest.approx(monotony(week), nan_ok=True)


@given(weeks)
def test_the_population_form_is_higher_by_a_fixed_factor(week):
    assert monotony(week, 0) == pytest.approx(math.sqrt(7 / 6) * monotony(week, 1), nan_ok=True)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([1] * 6,), "daily must hold 7 days, got 6"),
        (([-1] + [0] * 6,), "daily must be finite and 0 or more, or nan, got -1.0"),
        (([math.inf] + [0] * 6,), "daily must be finite and 0 or more, or nan, got inf"),
        (([[1] * 7],), "daily must have one dimension, got 2"),
        ((WEEK_A, 2), "ddof must be 0 or 1, got 2"),
    ],
)
def test_monotony_names_what_it_cannot_take(arguments, message):
    with pytest.raises(ValueError, match=message):
        monotony(*arguments)


def test_a_week_is_held_against_the_median_of_the_trained_weeks():
    change = change_against_trained_weeks(120, [500, 600, 90, 100, 0, math.nan, 100, 110])
    assert (change.usual, change.absolute, change.n_weeks) == (100, 20, 4)
    assert change.relative == pytest.approx(0.2)


def test_a_week_off_is_no_trained_week():
    assert change_against_trained_weeks(100, [100, 0, 100, 0, 100, 0]).relative == 0


def test_two_trained_weeks_are_not_enough():
    change = change_against_trained_weeks(120, [100, 0, 100])
    assert change.n_weeks == 2
    assert all(math.isnan(each) for each in (change.usual, change.absolute, change.relative))


def test_an_unknown_week_has_no_change():
    assert math.isnan(change_against_trained_weeks(math.nan, [100] * 4).relative)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((-1, [100] * 4), "this_week must be finite and 0 or more, or nan, got -1.0"),
        ((100, [-1] * 4), "weeks_before must be finite and 0 or more, or nan, got -1.0"),
        ((100, [[100]]), "weeks_before must have one dimension, got 2"),
    ],
)
def test_weekly_change_names_what_it_cannot_take(arguments, message):
    with pytest.raises(ValueError, match=message):
        change_against_trained_weeks(*arguments)


@pytest.mark.parametrize("span", [1, 3, 7, 28])
@pytest.mark.parametrize("seed", range(5))
def test_the_average_agrees_with_pandas(seed, span):
    values = np.random.default_rng(seed).uniform(0, 900, 60)
    expected = pd.Series(values).ewm(span=span, adjust=False).mean()
    assert ewma(values, span) == pytest.approx(expected.to_numpy(), abs=1e-9)


def test_an_unobserved_day_keeps_the_average_as_pandas_does():
    values = np.array([math.nan, 10, math.nan, math.nan, 30, 20])
    expected = pd.Series(values).ewm(span=7, adjust=False, ignore_na=True).mean()
    assert ewma(values, 7) == pytest.approx(expected.to_numpy(), nan_ok=True, abs=1e-9)


@pytest.mark.parametrize("values", [[], [math.nan]])
def test_without_an_observed_day_there_is_no_average(values):
    assert np.isnan(ewma(values, 7)).all()


@pytest.mark.parametrize("gap_days", [0, 1, 5])
def test_a_gap_decays_like_days_of_nothing(gap_days):
    expected = ewma([100, 40] + [0] * gap_days, 7)[-1]
    assert ewma_after_gap(ewma([100, 40], 7)[-1], gap_days, 7) == pytest.approx(expected)


@given(st.lists(st.floats(0, 1000), min_size=1, max_size=40), st.floats(1, 60))
def test_the_average_stays_within_what_it_averages(values, span):
    averages = ewma(values, span)
    assert min(values) - 1e-9 <= averages.min()
    assert averages.max() <= max(values) + 1e-9


@pytest.mark.parametrize(
    ("compute", "arguments", "message"),
    [
        (ewma, ([1, 2], 0.5), "span must be a finite number of 1 or more, got 0.5"),
        (ewma, ([1, math.inf], 7), "daily must be finite or nan, got inf"),
        (ewma, ([[1, 2]], 7), "daily must have one dimension, got 2"),
        (ewma_after_gap, (100, -1, 7), "gap_days must be 0 or more, got -1"),
    ],
)
def test_the_average_names_what_it_cannot_take(compute, arguments, message):
    with pytest.raises(ValueError, match=message):
        compute(*arguments)


def test_a_ratio_shows_what_it_is_made_of():
    found = rolling_ratio(STEP)
    assert (found.acute, found.chronic, found.method) == (50, 30, "uncoupled")
    assert (found.n_history_days, found.n_observed_days) == (28, 28)


@given(histories)
def test_coupled_and_uncoupled_hold_the_same_information(daily):
    uncoupled, coupled = (rolling_ratio(daily, method).ratio for method in ("uncoupled", "coupled"))
    assert coupled == pytest.approx(4 * uncoupled / (uncoupled + 3))
    assert coupled < 4


@given(histories, st.floats(0.1, 10))
def test_no_ratio_depends_on_the_unit_of_load(daily, factor):
    scaled = [factor * load for load in daily]
    assert rolling_ratio(scaled).ratio == pytest.approx(rolling_ratio(daily).ratio)
    assert ewma_ratio(scaled).ratio == pytest.approx(ewma_ratio(daily).ratio)


@pytest.mark.parametrize("ratio_of", [rolling_ratio, ewma_ratio])
@pytest.mark.parametrize(
    ("daily", "state", "reason"),
    [
        pytest.param([], "suppressed", "short_history", id="nothing"),
        pytest.param([30.0] * 27, "suppressed", "short_history", id="27 days"),
        pytest.param([math.nan] * 30 + [30.0] * 27, "suppressed", "short_history", id="observed for 27 days"),
        pytest.param([30.0] * 28, "provisional", "", id="28 days"),
        pytest.param([30.0] * 55, "provisional", "", id="55 days"),
        pytest.param([30.0] * 56, "established", "", id="56 days"),
        pytest.param(
            [30.0] * 20 + [math.nan] * 8 + [30.0] * 20,
            "suppressed",
            "few_days_observed",
            id="20 of 28 observed",
        ),
        pytest.param([30.0] * 40 + [math.nan, 30.0] * 7, "provisional", "", id="21 of 28 observed"),
        pytest.param(
            [30.0] * 40 + [math.nan] * 7, "suppressed", "few_days_observed", id="last week unobserved"
        ),
        pytest.param([0.0] * 60, "suppressed", "no_chronic_load", id="no load"),
    ],
)
def test_a_ratio_says_whether_it_can_be_shown(ratio_of, daily, state, reason):
    found = ratio_of(daily)
    assert (found.state, found.reason) == (state, reason)
    assert math.isnan(found.ratio) == (state == "suppressed")


def test_a_return_after_three_weeks_of_nothing_has_no_uncoupled_ratio():
    assert rolling_ratio([50.0] * 40 + [0.0] * 21 + [50.0] * 7).reason == "no_chronic_load"


def test_means_are_over_observed_days():
    daily = [30.0] * 21 + [50.0, math.nan] * 3 + [50.0]
    assert rolling_ratio(daily).acute == 50


def test_an_unknown_method_is_refused():
    with pytest.raises(ValueError, match="method must be coupled or uncoupled, got both"):
        rolling_ratio(STEP, "both")


@pytest.mark.parametrize("ratio_of", [rolling_ratio, ewma_ratio])
def test_a_negative_load_is_refused(ratio_of):
    with pytest.raises(ValueError, match=r"daily must be finite and 0 or more, or nan, got -1\.0"):
        ratio_of([-1.0] * 28)


@pytest.mark.parametrize("name", ["n_weeks", "min_weeks"])
def test_weeks_looked_back_to_must_be_one_or_more(name):
    with pytest.raises(ValueError, match=f"{name} must be 1 or more, got 0"):
        change_against_trained_weeks(100, [100] * 4, **{name: 0})
