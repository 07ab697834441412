"""How easily chance alone would have shown a trend, and which of a morning's trends outlast that question."""

from dataclasses import dataclass
from math import erfc, isnan, nan, sqrt

import numpy as np

from coaching.compute.arrays import ArrayLike, NDArray
from coaching.compute.normal import two_sided_z
from coaching.compute.progress import DEFAULT_SETTINGS, REGRESSING, STALLED, LiftAssessments, ProgressSettings
from coaching.compute.trends import false_discovery_control

Bools = NDArray[np.bool_]

METHOD = "benjamini_hochberg"
VERSION = "1"
FALSE_DISCOVERY_RATE = 0.10
ONSETS_IN_EFFECT = 4.0
"""The best of many neighbouring onsets behaves like the best of so many separate ones; see pain_rise_p."""


@dataclass(frozen=True, slots=True, eq=False)
class Screened:
    """Which findings pass, and in how many tests they were found.

    Attributes:
        passes: (n,) true for those that pass, and for those without a p value, which are not screened.
        tests_run: tests counted, at least as many as there are p values.
        false_discovery_rate: the rate that was aimed at.
    """

    passes: Bools
    tests_run: int
    false_discovery_rate: float


def pain_rise_p(statistic: float) -> float:
    """Give the chance that steady pain alone shows a rise as clear as this one, approximately.

    Args:
        statistic: rise over its standard error of fit_broken_lines; nan = nothing rises.

    Returns:
        One-sided p value, 0 to 1; 1 where nothing rises.

    Notes:
        Normal tail times ONSETS_IN_EFFECT, since the best of many onsets was kept. It fits whole-point pain
        with noise of up to one point and the day correlation that the rule assumes; pain that jumps about
        more than that gets a p value that is too small. That volume rose as well is not counted in.

    Source:
        Design choice; the factor is fitted on generated steady clients.

    >>> round(pain_rise_p(3.1), 4), pain_rise_p(float("nan"))
    (0.0039, 1.0)
    """
    return 1.0 if isnan(statistic) else min(1.0, ONSETS_IN_EFFECT * _upper_tail(statistic))


def lift_p(found: LiftAssessments, row: int, settings: ProgressSettings = DEFAULT_SETTINGS) -> float:
    """Give the chance that a lift on its way alone shows a standstill, or a fall, as clear as this one.

    Args:
        found: result of assess_lifts.
        row: the lift.
        settings: the constants that assess_lifts was given.

    Returns:
        One-sided p value, approximately; nan where the lift is neither stalled nor regressing.

    Notes:
        Stalled: the slope against the expected rate. Regressing: both of its tests must hold, so the larger p
        value counts, of the slope against 0 and of the fall against none. Normal tails.

    Source:
        Largest p value of tests that must all hold: Berger 1982, Technometrics 24:295-300 (from memory).

    >>> days = np.arange(0.0, 84, 3.5)[None, :]
    >>> from coaching.compute.progress import assess_lifts
    >>> found = assess_lifts(days, np.full_like(days, 100.0), np.ones(days.shape, bool), np.array(["novice"]),
    ...                      as_of_day=84, increment_kg=np.array([2.5]))
    >>> lift_p(found, 0) < 0.001
    True
    """
    state = str(found.state[row])
    slope = float(found.slope_per_week[row])
    half_width = (float(found.slope_high_per_week[row]) - float(found.slope_low_per_week[row])) / 2
    slope_se = half_width / _quantile(settings.interval)
    if state == STALLED:
        return _upper_tail((float(found.expected_per_week[row]) - slope) / slope_se)
    if state == REGRESSING:
        fall_se = float(found.fall_mdc[row]) / _quantile(settings.mdc_confidence)
        return max(_upper_tail(-slope / slope_se), _upper_tail(float(found.fall[row]) / fall_se))
    return nan


def screen(
    p_values: ArrayLike, tests_run: int, false_discovery_rate: float = FALSE_DISCOVERY_RATE
) -> Screened:
    """Say which findings stand when the tests that found nothing are counted as well.

    Args:
        p_values: (n,) p values of what was found; nan = not screened, passes.
        tests_run: tests that were run in all; fewer than p values are taken for as many as these.
        false_discovery_rate: share of false ones that is aimed at among those that pass, above 0 and below 1.

    Returns:
        Screened.

    Raises:
        ValueError: p_values is not 1-D, a value lies outside 0 to 1, tests_run below 0, or the rate outside
            0 to 1.

    Notes:
        A test that found nothing counts with p = 1, which passes fewer rather than more. This orders what a
        coach reads and closes nothing.

    Source:
        Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300.

    >>> screen([0.001, 0.03, float("nan")], tests_run=10).passes
    array([ True, False,  True])
    """
    p = np.asarray(p_values, dtype=np.float64)
    if p.ndim != 1:
        raise ValueError(f"p_values must have one dimension, got {p.ndim}")
    if tests_run < 0:
        raise ValueError(f"tests_run must be 0 or more, got {tests_run}")
    if not 0 < false_discovery_rate < 1:
        raise ValueError(f"false_discovery_rate must lie between 0 and 1, got {false_discovery_rate}")
    is_screened = ~np.isnan(p)
    n_screened = int(is_screened.sum())
    found_nothing = np.ones(max(0, tests_run - n_screened))
    adjusted = false_discovery_control(np.concatenate([p, found_nothing]))[: len(p)]
    passes = ~is_screened | (adjusted <= false_discovery_rate)
    return Screened(passes, max(tests_run, n_screened), false_discovery_rate)


def _upper_tail(z: float) -> float:
    return erfc(z / sqrt(2)) / 2


def _quantile(confidence: float) -> float:
    return two_sided_z(confidence)
