"""Independent implementations on hard series: ties, constants, uneven times, gaps, none to three values.

Where two definitions differ, the test says how: it brings the other's answer to ours.
"""

import math

import numpy as np
import pandas as pd
import pymannkendall
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.multitest import multipletests

from coaching.compute.broken_line import fit_broken_lines
from coaching.compute.progress import (
    LiftAssessments,
    ProgressSettings,
    assess_lifts,
    minimal_detectable_change,
)
from coaching.compute.trends import false_discovery_control, mann_kendall, theil_sen
from coaching.compute.workload import ewma, ewma_ratio, monotony, rolling_ratio, strain

TOLERANCE = 1e-9
NAN = math.nan


def generated(kind, seed):
    """Times and values of one series of a kind."""
    generator = np.random.default_rng([seed, KINDS.index(kind)])
    n = int(generator.integers(4, 40))
    times, values = np.arange(float(n)), generator.normal(5, 2, n)
    if kind == "tied":
        values = generator.integers(0, 4, n).astype(float)
    elif kind == "constant":
        values = np.full(n, float(generator.integers(0, 9)))
    elif kind == "uneven":
        times = np.sort(generator.choice(200, n, replace=False)).astype(float)
    elif kind == "repeated times":
        times, values = np.sort(generator.integers(0, n, n)).astype(float), np.round(values)
    elif kind == "gappy":
        values[generator.random(n) < 0.4] = NAN
        values[:2] = 1.0, 2.0
    elif kind in ("two", "three"):
        n = 2 if kind == "two" else 3
        times, values = times[:n], np.round(values[:n])
    return times, values


KINDS = ["untied", "tied", "constant", "uneven", "repeated times", "gappy", "two", "three"]
series = [pytest.param(*generated(kind, seed), id=f"{kind} {seed}") for kind in KINDS for seed in range(8)]
in_time = [each for each in series if not each.id.startswith("repeated")]
three_or_more = [each for each in in_time if not each.id.startswith("two")]


@pytest.mark.parametrize(("times", "values"), in_time)
def test_mann_kendall_agrees_with_pymannkendall(times, values):
    found, oracle = mann_kendall(values), pymannkendall.original_test(values)
    assert found.s == oracle.s
    assert [found.variance, found.z, found.p] == pytest.approx(
        [oracle.var_s, oracle.z, oracle.p], abs=TOLERANCE
    )


@pytest.mark.parametrize(("times", "values"), in_time)
def test_tau_b_agrees_with_scipy(times, values):
    seen = ~np.isnan(values)
    expected = stats.kendalltau(times[seen], values[seen]).statistic
    assert mann_kendall(values).tau_b == pytest.approx(expected, abs=TOLERANCE, nan_ok=True)


@pytest.mark.parametrize(("times", "values"), three_or_more)
def test_scipys_asymptotic_p_is_ours_without_the_continuity_correction(times, values):
    seen, found = ~np.isnan(values), mann_kendall(values)
    expected = stats.kendalltau(times[seen], values[seen], method="asymptotic").pvalue
    if found.variance == 0:
        assert (math.isnan(expected), found.p) == (True, 1)
    else:
        uncorrected = 2 * stats.norm.sf(abs(found.s) / math.sqrt(found.variance))
        assert uncorrected == pytest.approx(expected, abs=TOLERANCE)


@pytest.mark.parametrize(("times", "values"), series)
@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_the_theil_sen_line_agrees_with_scipy(times, values, confidence):
    seen, found = ~np.isnan(values), theil_sen(times, values, confidence)
    oracle = stats.theilslopes(values[seen], times[seen], confidence)
    ours = [found.slope, found.intercept, found.low, found.high]
    assert ours == pytest.approx(list(oracle), abs=TOLERANCE)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("n", [1, 2, 3, 15])
def test_false_discovery_control_agrees_with_statsmodels_on_what_was_tested(n, seed):
    generator = np.random.default_rng([seed, n])
    p_values = np.round(generator.random(n), 1 + seed % 3)
    p_values[1:][generator.random(n - 1) < 0.2] = NAN
    tested = ~np.isnan(p_values)
    expected = multipletests(p_values[tested], method="fdr_bh")[1]
    assert false_discovery_control(p_values)[tested] == pytest.approx(expected, abs=TOLERANCE)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("correlation", [0.0, 0.6, 0.9])
def test_the_broken_line_agrees_with_generalised_least_squares_of_statsmodels(seed, correlation):
    generator = np.random.default_rng(seed)
    values = 2 + 0.08 * np.maximum(0, np.arange(60) - 30) + generator.normal(0, 0.6, 60)
    values[generator.random(60) < 0.5] = NAN
    found = fit_broken_lines(
        values[None, :], np.array([20, 27, 34]), day_correlation=correlation, prior_sd=1.0, prior_weight=0.0,
        min_before=3, min_after=3,
    )  # fmt: skip
    days = np.nonzero(~np.isnan(values))[0]
    design = sm.add_constant(np.maximum(0.0, days - found.onset_day[0]))
    covariance = correlation ** np.abs(days[:, None] - days[None, :]).astype(float)
    oracle = sm.GLS(values[days], design, sigma=covariance).fit()
    # We spend a third degree of freedom, on the onset.
    spent = math.sqrt((len(days) - 2) / (len(days) - 3))
    assert [found.level_from[0], found.slope_per_day[0]] == pytest.approx(oracle.params, abs=TOLERANCE)
    assert found.slope_se_per_day[0] == pytest.approx(oracle.bse[1] * spent, abs=TOLERANCE)
    assert found.noise_sd[0] == pytest.approx(math.sqrt(oracle.scale) * spent, abs=TOLERANCE)


def lift(times, values):
    """Assessment of one lift on its own noise only."""
    return assess_lifts(
        times[None, :],
        np.exp(values / 20)[None, :],
        np.ones((1, times.size), dtype=bool),
        np.array(["intermediate"]),
        as_of_day=1000,
        increment_kg=np.array([2.5]),
        settings=ProgressSettings(assumed_noise_exposures=0.0, window_days=2000),
    )


def half_width(found: LiftAssessments) -> float:
    return float(found.slope_high_per_week[0] - found.slope_per_week[0])


@pytest.mark.parametrize(("times", "values"), three_or_more)
def test_the_slope_of_a_lift_and_its_interval_agree_with_linregress(times, values):
    seen, found = ~np.isnan(values), lift(times, values)
    oracle = stats.linregress(times[seen] / 7, values[seen] / 20)
    assert found.slope_per_week[0] == pytest.approx(oracle.slope, abs=TOLERANCE)
    # Normal, not t: the noise of a lift is assumed before it has shown its own.
    if np.ptp(values[seen]) > 0 and abs(oracle.rvalue) < 1 - TOLERANCE:
        assert half_width(found) == pytest.approx(stats.norm.ppf(0.99) * oracle.stderr, abs=TOLERANCE)


@pytest.mark.parametrize("confidence", [0.8, 0.9, 0.95])
def test_the_detectable_change_agrees_with_the_normal_quantile_of_scipy(confidence):
    expected = stats.norm.ppf((1 + confidence) / 2) * math.sqrt(2 / 3) * 0.05
    found = minimal_detectable_change(np.array([0.05]), 3, confidence)[0]
    assert found == pytest.approx(expected, abs=TOLERANCE)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("ddof", [0, 1])
def test_monotony_and_strain_agree_with_pandas(seed, ddof):
    week = pd.Series(np.random.default_rng(seed).choice([0.0, 240.0, 300.0, 420.0], 7))
    expected = week.mean() / week.std(ddof=ddof)
    assert monotony(week, ddof) == pytest.approx(expected, abs=TOLERANCE)
    assert strain(week, ddof) == pytest.approx(week.sum() * expected, rel=TOLERANCE)


def loads(seed, share_missing):
    generator = np.random.default_rng(seed)
    daily = generator.choice([0.0, 240.0, 300.0, 420.0], 70)
    daily[1:][generator.random(69) < share_missing] = NAN
    daily[-1] = 300.0
    return daily


@pytest.mark.parametrize("share_missing", [0.0, 0.1])
@pytest.mark.parametrize("seed", range(6))
def test_rolling_ratios_agree_with_pandas(seed, share_missing):
    daily = pd.Series(loads(seed, share_missing))
    acute = daily.rolling(7, min_periods=1).mean()
    coupled, uncoupled = (
        acute.iloc[-1] / daily.rolling(28, min_periods=1).mean().iloc[-1],
        acute.iloc[-1] / daily.shift(7).rolling(21, min_periods=1).mean().iloc[-1],
    )
    assert rolling_ratio(daily, "coupled").ratio == pytest.approx(coupled, abs=TOLERANCE)
    assert rolling_ratio(daily, "uncoupled").ratio == pytest.approx(uncoupled, abs=TOLERANCE)


@pytest.mark.parametrize("share_missing", [0.0, 0.1])
@pytest.mark.parametrize("seed", range(6))
def test_the_average_and_its_ratio_agree_with_pandas_that_ignores_missing_days(seed, share_missing):
    daily = pd.Series(loads(seed, share_missing))
    acute, chronic = (daily.ewm(span=span, adjust=False, ignore_na=True).mean() for span in (7, 28))
    assert ewma(daily, 7) == pytest.approx(acute.to_numpy(), abs=TOLERANCE)
    assert ewma_ratio(daily).ratio == pytest.approx(acute.iloc[-1] / chronic.iloc[-1], abs=TOLERANCE)


@pytest.mark.parametrize("values", [[], [3.0], [NAN, NAN], [NAN, 3.0]])
def test_below_two_values_both_stay_without_an_answer(values):
    """The packages refuse or divide by zero here; ours answers nan and counts what was used."""
    found, line = mann_kendall(values), theil_sen(range(len(values)), values)
    assert np.isnan([found.z, found.p, found.p_exact, found.tau_b, line.slope, line.low, line.high]).all()
    assert found.n == line.n == np.count_nonzero(~np.isnan(values))
