"""The pain rules that are held against each other: each is a score per day, and fires from a threshold on."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coaching.bench.cohorts import Cohort
from coaching.bench.likelihood import pain_likelihood_ratios
from coaching.compute.pain_trend import DEFAULT_SETTINGS
from coaching.compute.trends import mann_kendall_many
from coaching.compute.workload import ACUTE_DAYS, CHRONIC_DAYS
from coaching.exchange.replay import PainNights, see_pain_nights

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

OURS = "pain_with_volume"
FIXED_LEVEL = "fixed_pain_level"
WORKLOAD_RATIO = "acute_chronic_ratio"
MANN_KENDALL = "mann_kendall_with_volume"
TOLD_ALL = "told_all"
TOLD_ALL_WITH_VOLUME = "told_all_with_volume"
LIMITS = (TOLD_ALL, TOLD_ALL_WITH_VOLUME)
RULES = (OURS, FIXED_LEVEL, WORKLOAD_RATIO, MANN_KENDALL, *LIMITS)
TITLES = {
    OURS: "ours: broken line + volume up",
    FIXED_LEVEL: "pain at a fixed level",
    WORKLOAD_RATIO: "acute:chronic ratio of volume",
    MANN_KENDALL: "Mann-Kendall 42 d + volume up",
    TOLD_ALL: "told all but the onset",
    TOLD_ALL_WITH_VOLUME: "told all but the onset + volume up",
}

OUR_THRESHOLD = 0.0
EASIER_BY = 10.0
EASY_SETTINGS = replace(
    DEFAULT_SETTINGS,
    threshold=DEFAULT_SETTINGS.threshold - EASIER_BY,
    threshold_steep=DEFAULT_SETTINGS.threshold_steep - EASIER_BY,
)
MANN_KENDALL_DAYS = 42
NEVER = -np.inf


@dataclass(frozen=True, slots=True)
class ScoredCohort:
    """A cohort with what every rule makes of each of its days.

    Attributes:
        cohort: the clients.
        scores: per rule (n_series, n_days); the column of day D-1 is what the night of D knows, -inf = never.
    """

    cohort: Cohort
    scores: Mapping[str, Floats]


def score_cohort(cohort: Cohort) -> ScoredCohort:
    """Play the nights of a cohort with our thresholds far too low, and the other rules beside it.

    So the night's own rule says where all its other conditions hold; there what the statistic lies above its
    real threshold is the score. From 0 on that is the rule as the night runs it.
    """
    nights = see_pain_nights(cohort.pain, cohort.joint_reps, EASY_SETTINGS)
    told_all = pain_likelihood_ratios(cohort)
    scores = {
        OURS: np.where(nights.is_with_volume, nights.margin - EASIER_BY, NEVER),
        FIXED_LEVEL: np.where(np.isnan(cohort.pain), NEVER, cohort.pain),
        WORKLOAD_RATIO: workload_ratios(cohort.joint_reps),
        MANN_KENDALL: _with_volume(_mann_kendall_scores(cohort.pain), nights),
        TOLD_ALL: told_all,
        TOLD_ALL_WITH_VOLUME: _with_volume(told_all, nights),
    }
    return ScoredCohort(cohort, scores)


def workload_ratios(daily: Floats) -> Floats:
    """Mean volume of the last 7 days over that of the 21 before, on each day of many series.

    The many-series form of `coaching.compute.workload.rolling_ratio`; -inf where that one is suppressed.
    """
    sums = np.cumsum(np.pad(daily, ((0, 0), (1, 0))), axis=1)
    acute = (sums[:, CHRONIC_DAYS:] - sums[:, CHRONIC_DAYS - ACUTE_DAYS : -ACUTE_DAYS]) / ACUTE_DAYS
    before_days = CHRONIC_DAYS - ACUTE_DAYS
    chronic = (sums[:, before_days:-ACUTE_DAYS] - sums[:, :-CHRONIC_DAYS]) / before_days
    ratios = np.full(daily.shape, NEVER)
    ratios[:, CHRONIC_DAYS - 1 :] = np.divide(
        acute, chronic, out=np.full(acute.shape, NEVER), where=chronic > 0
    )
    return ratios


def _mann_kendall_scores(pain: Floats) -> Floats:
    scores = np.full(pain.shape, NEVER)
    for day in range(MANN_KENDALL_DAYS - 1, pain.shape[1]):
        z = mann_kendall_many(_reports(pain[:, day + 1 - MANN_KENDALL_DAYS : day + 1])).z
        scores[:, day] = np.where(np.isnan(z), NEVER, z)
    return scores


def _reports(pain: Floats) -> Floats:
    """The reports of each row moved together, so that there are fewer pairs to look at."""
    is_missing = np.isnan(pain)
    order = np.argsort(is_missing, axis=1, kind="stable")
    most = int((~is_missing).sum(axis=1).max(initial=1))
    return np.take_along_axis(pain, order, axis=1)[:, :most]


def _with_volume(scores: Floats, nights: PainNights) -> Floats:
    return np.where(nights.volume_change >= DEFAULT_SETTINGS.min_volume_change, scores, NEVER)
