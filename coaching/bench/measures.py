"""How often a rule is wrong, how often and how soon it is right, at one threshold and over many."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coaching.bench.cohorts import FALLING_KIND, FLARE_KINDS, QUIET_KINDS
from coaching.bench.rules import LIMITS, OUR_THRESHOLD, OURS, RULES, ScoredCohort
from coaching.compute.alert_life import follow_alerts
from coaching.exchange.replay import see_pain_nights

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WARM_UP_DAYS = 84
FOUND_WITHIN_DAYS = 42
DAYS_PER_YEAR = 365.25
CURVE_POINTS = 24


@dataclass(frozen=True, slots=True)
class Found:
    """Share found in time after the onset, and the median delay of those, nan where there is none."""

    share: float
    median_delay_days: float


@dataclass(frozen=True, slots=True)
class CurvePoint:
    threshold: float
    false_per_year: float
    flare_share: float
    slow_flare_share: float


@dataclass(frozen=True, slots=True)
class PainResult:
    """One pain rule at one threshold.

    Attributes:
        rule, threshold: which rule fires from where.
        false_per_year: openings per site and year over the quiet kinds together.
        quiet_per_year: the same of each quiet kind.
        found: each kind of flare within 42 days.
        falling_per_year: openings of this rule per site and year while volume falls.
        curve: the trade-off over thresholds.
    """

    rule: str
    threshold: float
    false_per_year: float
    quiet_per_year: Mapping[str, float]
    found: Mapping[str, Found]
    falling_per_year: float
    curve: tuple[CurvePoint, ...]


def openings_per_year(opens: Bools) -> float:
    """Openings after the first 84 days, re-openings included, per observed series and year."""
    observed = opens[:, WARM_UP_DAYS:]
    return float(observed.sum() / observed.size * DAYS_PER_YEAR)


def found_within(opens: Bools, onset_day: Floats, within_days: int = FOUND_WITHIN_DAYS) -> Found:
    """Openings after the onset; the opening in the column of day D-1 is of the night of day D."""
    delay = np.arange(opens.shape[1])[None, :] + 1 - onset_day[:, None]
    first = np.where(opens & (delay > 0), delay, np.inf).min(axis=1)
    is_found = first <= within_days
    median = float(np.median(first[is_found])) if is_found.any() else float("nan")
    return Found(float(is_found.mean()), median)


def threshold_for(false_rate: Callable[[float], float], scores: Floats, rate: float) -> float:
    """The lowest threshold that can be reached from the highest score down without exceeding `rate`.

    From the top, because a threshold so low that alerts never end opens few as well.
    """
    seen = np.sort(scores[np.isfinite(scores)])
    kept, bad = float(seen[-1]) + 1.0, None
    for share in np.geomspace(1 / seen.size, 0.9, 40):
        candidate = float(np.quantile(seen, 1 - share))
        if false_rate(candidate) > rate:
            bad = candidate
            break
        kept = candidate
    for _ in range(12 if bad is not None else 0):
        middle = (kept + float(bad or 0.0)) / 2
        kept, bad = (middle, bad) if false_rate(middle) <= rate else (kept, middle)
    at_or_above = seen[seen >= kept]
    return float(at_or_above[0]) if at_or_above.size else kept


def measure_pain_rules(scored: Mapping[str, ScoredCohort]) -> tuple[PainResult, ...]:
    """Ours as it is set, and every other rule at the threshold that gives it at most our false rate."""
    quiet = {rule: np.concatenate([scored[kind].scores[rule] for kind in QUIET_KINDS]) for rule in RULES}

    def false_rate(rule: str) -> Callable[[float], float]:
        return lambda threshold: openings_per_year(follow_alerts(quiet[rule] >= threshold).opens)

    our_rate = false_rate(OURS)(OUR_THRESHOLD)
    results = []
    for rule in RULES:
        observed = quiet[rule][:, WARM_UP_DAYS:]
        threshold = OUR_THRESHOLD if rule == OURS else threshold_for(false_rate(rule), observed, our_rate)
        rates = np.geomspace(0.02, 1.5, CURVE_POINTS)
        thresholds = sorted({threshold_for(false_rate(rule), observed, rate) for rate in rates}, reverse=True)
        curve = tuple(_curve_point(scored, rule, each, false_rate(rule)(each)) for each in thresholds)
        results.append(_measure(scored, rule, threshold, false_rate(rule)(threshold), curve))
    return tuple(results)


def best_limit(results: tuple[PainResult, ...]) -> PainResult:
    """Of the detectors that are told all, the one that flags more flares."""
    return max(
        (result for result in results if result.rule in LIMITS), key=lambda each: each.found["flare"].share
    )


def share_of_falling_called_rising(falling: ScoredCohort) -> Found:
    """Clients whose pain climbs while volume falls and who get pain_rising within 42 days."""
    nights = see_pain_nights(falling.cohort.pain, falling.cohort.joint_reps)
    graver = follow_alerts(nights.is_with_volume)
    rising = follow_alerts(nights.is_rising, is_held_back=graver.stands)
    return found_within(rising.opens, falling.cohort.onset_day)


def _opens(scored: ScoredCohort, rule: str, threshold: float) -> Bools:
    return follow_alerts(scored.scores[rule] >= threshold).opens


def _curve_point(
    scored: Mapping[str, ScoredCohort], rule: str, threshold: float, false_per_year: float
) -> CurvePoint:
    flare, slow = (
        found_within(_opens(scored[kind], rule, threshold), scored[kind].cohort.onset_day).share
        for kind in FLARE_KINDS
    )
    return CurvePoint(threshold, false_per_year, flare, slow)


def _measure(
    scored: Mapping[str, ScoredCohort],
    rule: str,
    threshold: float,
    false_per_year: float,
    curve: tuple[CurvePoint, ...],
) -> PainResult:
    opens = {kind: _opens(each, rule, threshold) for kind, each in scored.items()}
    return PainResult(
        rule=rule,
        threshold=threshold,
        false_per_year=false_per_year,
        quiet_per_year={kind: openings_per_year(opens[kind]) for kind in QUIET_KINDS},
        found={kind: found_within(opens[kind], scored[kind].cohort.onset_day) for kind in FLARE_KINDS},
        falling_per_year=openings_per_year(opens[FALLING_KIND]),
        curve=curve,
    )
