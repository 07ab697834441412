"""A detector that is told everything but when: how early anybody could have known."""

from math import erf, sqrt

import numpy as np
from numpy.typing import NDArray

from coaching.bench.cohorts import RISE_WEEKS, Cohort
from coaching.compute.pain_trend import DEFAULT_SETTINGS, find_spikes

Floats = NDArray[np.float64]

LOOK_BACK_DAYS = 84
ONSET_STEP_DAYS = 2
ROUNDING_VARIANCE = 1 / 12  # of a number rounded to whole points


def pain_likelihood_ratios(cohort: Cohort) -> Floats:
    """Log likelihood ratio of a rise as steep as the client's against none, best onset, on each day.

    It is told the client's mean, noise, correlation and slope. Single bad nights are left out as the pain
    rule leaves them out, except that a jump is not held back until the next report confirms it: that flatters
    this detector by one report.
    """
    is_spike = find_spikes(cohort.pain, DEFAULT_SETTINGS.spike_points)
    noise_sd = np.sqrt(cohort.noise_sd**2 + ROUNDING_VARIANCE)
    return likelihood_ratios(
        np.where(is_spike, np.nan, cohort.pain) - _mean_report(cohort.usual_pain, noise_sd)[:, None],
        day_correlation=cohort.day_correlation,
        noise_sd=noise_sd,
        slope_per_day=cohort.sought_per_week / 7,
        ramp_days=7 * RISE_WEEKS,
    )


def likelihood_ratios(
    deviations: Floats, *, day_correlation: Floats, noise_sd: Floats, slope_per_day: Floats, ramp_days: int
) -> Floats:
    """Log likelihood ratio, maximised over onsets, of slope x days since onset against a mean of 0.

    `deviations` is (n_series, n_days), nan = not observed; a column knows the columns up to it. The noise is
    first-order autoregressive, so that the whitened series of a day needs no later day.
    """
    n_series, n_days = deviations.shape
    is_seen = ~np.isnan(deviations)
    days = np.arange(n_days)
    last_seen = np.maximum.accumulate(np.where(is_seen, days, -1), axis=1)
    previous = np.concatenate([np.full((n_series, 1), -1), last_seen[:, :-1]], axis=1)
    has_previous = previous >= 0
    step = np.where(has_previous, day_correlation[:, None] ** (days - previous), 0.0)
    scale = np.where(is_seen, 1 / (noise_sd[:, None] * np.sqrt(1 - step**2)), 0.0)
    values = np.where(is_seen, deviations, 0.0)
    before = np.take_along_axis(values, np.maximum(previous, 0), axis=1)
    whitened = (values - step * before) * scale

    best = np.zeros(deviations.shape)
    for onset in range(0, n_days, ONSET_STEP_DAYS):
        seen = slice(onset, onset + LOOK_BACK_DAYS)
        ramp = np.clip(days[seen] - onset, 0, ramp_days)
        ramp_before = np.clip(previous[:, seen] - onset, 0, ramp_days)
        expected = slope_per_day[:, None] * (ramp - step[:, seen] * ramp_before) * scale[:, seen]
        gain = np.cumsum(expected * (whitened[:, seen] - expected / 2), axis=1)
        best[:, seen] = np.maximum(best[:, seen], gain)
    return best


def _mean_report(usual: Floats, noise_sd: Floats) -> Floats:
    """Mean of reports in whole points from 0 to 10, the sum over points of how often each is reached."""
    reached = [
        [0.5 * (1 + erf((level - point + 0.5) / (sd * sqrt(2)))) for point in range(1, 11)]
        for level, sd in zip(usual, noise_sd, strict=True)
    ]
    return np.asarray(np.array(reached).sum(axis=1))
