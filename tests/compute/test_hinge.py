import math

import numpy as np
import pytest
import statsmodels.api as sm

from coaching.compute.trends import hinge_fit, hinge_fit_many


def broken_rows(seed, n_series=20, n_times=40, noise=0.5):
    generator = np.random.default_rng(seed)
    onset = generator.integers(10, 30, n_series)[:, None]
    rows = (
        2 + 0.2 * np.maximum(0, np.arange(n_times) - onset) + generator.normal(0, noise, (n_series, n_times))
    )
    rows[generator.random(rows.shape) < 0.3] = np.nan
    return rows


def test_a_broken_line_without_noise_is_found_exactly():
    fit = hinge_fit(3 + 0.5 * np.maximum(0, np.arange(20) - 12), range(2, 18))
    assert (fit.onset, fit.n) == (12, 20)
    assert (fit.level, fit.slope, fit.residual_sd) == pytest.approx((3, 0.5, 0))
    assert fit.statistic == math.inf


@pytest.mark.parametrize("seed", range(10))
def test_the_fit_at_its_onset_agrees_with_least_squares_of_statsmodels(seed):
    values = broken_rows(seed, n_series=1)[0]
    fit = hinge_fit(values, range(5, 35))
    is_seen = ~np.isnan(values)
    ramp = np.maximum(0, np.arange(values.size) - fit.onset)[is_seen]
    oracle = sm.OLS(values[is_seen], sm.add_constant(ramp.astype(float))).fit()
    assert [fit.level, fit.slope] == pytest.approx(oracle.params, abs=1e-9)
    assert fit.residual_sd == pytest.approx(math.sqrt(oracle.ssr / (fit.n - 3)), abs=1e-9)
    assert fit.statistic == pytest.approx(oracle.tvalues[1] * math.sqrt((fit.n - 3) / (fit.n - 2)), abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_no_other_onset_leaves_less_around_the_line(seed):
    values = broken_rows(seed, n_series=1)[0]
    best = hinge_fit(values, range(5, 35)).residual_sd
    others = [hinge_fit(values, [onset]) for onset in range(5, 35)]
    assert best == pytest.approx(min(each.residual_sd for each in others if each.onset >= 0))


def test_a_large_level_costs_no_digits():
    rows = broken_rows(7)
    near, far = (hinge_fit_many(each, range(5, 35)) for each in (rows, rows + 1e6))
    assert far.statistic == pytest.approx(near.statistic, rel=1e-6)


def test_many_series_give_what_each_gives_alone():
    rows = broken_rows(2)
    many = hinge_fit_many(rows, range(5, 35))
    for row, values in enumerate(rows):
        one = hinge_fit(values, range(5, 35))
        for field in ("onset", "level", "slope", "statistic", "residual_sd", "n"):
            assert getattr(many, field)[row] == pytest.approx(getattr(one, field))


@pytest.mark.parametrize(
    "values",
    [
        pytest.param([3.0], id="one value"),
        pytest.param([math.nan, 1.0, math.nan, 2.0, 4.0], id="three of five values"),
        pytest.param([1.0, 2.0], id="two values"),
        pytest.param([1.0, 1.0, 2.0], id="three values"),
        pytest.param([2.0] * 8, id="constant"),
        pytest.param([0.1] * 7, id="constant with rounding"),
        pytest.param([9.0, 9.0, 8.0, 7.0, 6.0, 5.0], id="falling"),
        pytest.param([math.nan] * 6, id="all missing"),
    ],
)
def test_where_nothing_rises_there_is_no_onset(values):
    fit = hinge_fit(values, range(len(values)))
    assert fit.onset == -1
    assert all(math.isnan(each) for each in (fit.level, fit.slope, fit.statistic, fit.residual_sd))


def test_one_high_value_at_the_end_is_no_rise():
    assert hinge_fit([1, 1, 1, 1, 1, 5], [4]).onset == -1


def test_the_unit_of_the_values_does_not_change_the_statistic():
    rows = broken_rows(6)
    plain, scaled = (hinge_fit_many(each, range(5, 35)) for each in (rows, 10 * rows + 3))
    assert (scaled.onset == plain.onset).all()
    assert scaled.statistic == pytest.approx(plain.statistic)
    assert scaled.slope == pytest.approx(10 * plain.slope)


@pytest.mark.parametrize(
    ("fit", "arguments", "message"),
    [
        (hinge_fit, ([[1, 2]], [0]), "values must have one dimension, got 2"),
        (hinge_fit_many, ([1, 2], [0]), "values must have two dimensions, got 1"),
        (hinge_fit, ([1, 2, math.inf], [0]), "values must be finite or nan, got inf"),
        (hinge_fit, ([1, 2, 3], [3]), "onsets must be indices below 3, got 3"),
        (hinge_fit, ([1, 2, 3], [-1]), "onsets must be indices below 3, got -1"),
        (hinge_fit, ([1, 2, 3], []), "onsets must hold at least one index, got 0"),
    ],
)
def test_the_fit_names_what_it_cannot_take(fit, arguments, message):
    with pytest.raises(ValueError, match=message):
        fit(*arguments)
