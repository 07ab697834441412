"""Broken lines: what is found, what is not, and what changes nothing."""

import numpy as np
import pytest

from coaching.compute.broken_line import BrokenLineFits, fit_broken_lines


def fit(
    values: np.ndarray, onsets: list[int], correlation: float = 0.6, prior_weight: float = 0
) -> BrokenLineFits:
    return fit_broken_lines(
        values,
        np.array(onsets),
        day_correlation=correlation,
        prior_sd=1.0,
        prior_weight=prior_weight,
        min_before=3,
        min_after=3,
    )


def uneven_series() -> np.ndarray:
    rng = np.random.default_rng(4)
    days = np.arange(60)
    values = 2 + 0.08 * np.maximum(0, days - 30) + rng.normal(0, 0.6, 60)
    values[rng.random(60) < 0.55] = np.nan
    return values


def test_an_exact_line_gives_back_its_onset_and_levels():
    days = np.arange(70.0)
    found = fit((2 + 0.1 * np.maximum(0, days - 40))[None, :], [30, 35, 40, 45], prior_weight=5)
    assert (found.onset_day[0], found.level_from[0], found.level_to[0]) == (
        40,
        pytest.approx(2.0),
        pytest.approx(4.9),
    )


def test_a_constant_added_to_all_values_moves_only_the_levels():
    values = uneven_series()[None, :]
    low, high = fit(values, [20, 30, 40], prior_weight=5), fit(values + 3, [20, 30, 40], prior_weight=5)
    assert high.statistic == pytest.approx(low.statistic)
    assert high.level_from == pytest.approx(low.level_from + 3)


def test_a_steeper_rise_gives_a_higher_statistic():
    ramp = np.maximum(0, np.arange(60) - 30)
    values = uneven_series()
    statistics = [
        fit((values + k * ramp)[None, :], [30], prior_weight=5).statistic[0] for k in (0, 0.05, 0.1)
    ]
    assert statistics == sorted(statistics)


def test_a_falling_series_fits_nothing():
    found = fit(np.arange(60.0, 0, -1)[None, :], [20, 30], prior_weight=5)
    assert (found.onset_day[0], np.isnan(found.statistic[0])) == (-1, True)


def test_a_series_without_values_fits_nothing():
    assert fit(np.full((1, 60), np.nan), [20, 30], prior_weight=5).onset_day == [-1]


def test_too_few_values_after_the_onset_fit_nothing():
    values = np.full((1, 60), np.nan)
    values[0, [2, 8, 14, 20, 40, 50]] = [1, 1, 1, 1, 5, 6]
    assert fit(values, [30], prior_weight=5).onset_day == [-1]


def test_values_must_have_two_dimensions():
    with pytest.raises(ValueError, match="values must have two dimensions, got 1"):
        fit(np.ones(60), [30])


@pytest.mark.parametrize("correlation", [1.0, -0.1])
def test_day_correlation_must_be_a_correlation_below_one(correlation: float):
    with pytest.raises(ValueError, match="day_correlation must be at least 0 and below 1"):
        fit(np.ones((1, 60)), [30], correlation)


@pytest.mark.parametrize("onsets", [[], [60], [-1, 30]])
def test_onsets_must_be_columns(onsets: list[int]):
    with pytest.raises(ValueError, match="onset_days must be columns of values, at least one, got"):
        fit(np.ones((1, 60)), onsets)
