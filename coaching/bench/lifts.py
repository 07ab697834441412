"""Generated lifts that go on gaining or stop, and how soon a rule says that they stopped."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coaching.bench.likelihood import likelihood_ratios
from coaching.bench.measures import Found, found_within, openings_per_year, threshold_for
from coaching.compute.alert_life import follow_alerts
from coaching.exchange.replay import ASSUMED_STEP_KG, see_lift_nights

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

N_DAYS = 280
GAIN_PER_WEEK = {"novice": 0.01, "intermediate": 0.0035}
E1RM_NOISE = 0.03
EXPOSURE_DAYS = (0, 3)  # of each week
FOUND_WITHIN_DAYS = (56, 84)

OURS = "stalled_lift"
NO_NEW_BEST = "days_without_new_best"
TOLD_ALL = "told_all"
TITLES = {
    OURS: "ours: slope against expected rate",
    NO_NEW_BEST: "days without a new best",
    TOLD_ALL: "told all but the day",
}


@dataclass(frozen=True, slots=True)
class Lifts:
    """Lifts of one training status; stop_day nan = goes on gaining."""

    status: str
    times_days: Floats
    e1rm_kg: Floats
    expected_kg: Floats
    stop_day: Floats


@dataclass(frozen=True, slots=True)
class LiftResult:
    """One stall rule and status: false flags per progressing lift and year, and stops found in time."""

    rule: str
    status: str
    threshold: float | None
    false_per_year: float
    found_56_days: Found
    found_84_days: Found


def generate_lifts(status: str, n_lifts: int, seed: int, *, stops: bool) -> Lifts:
    """Lifts that gain at the rate of their status, two exposures a week; some stop on a day."""
    rng = np.random.default_rng([seed, 100 + 2 * list(GAIN_PER_WEEK).index(status) + stops])
    days = np.array([day for day in range(N_DAYS) if day % 7 in EXPOSURE_DAYS], float)
    stop_day = rng.integers(100, N_DAYS - 90, n_lifts).astype(float) if stops else np.full(n_lifts, np.nan)
    start_kg = rng.uniform(40, 100, (n_lifts, 1))
    gained_weeks = np.fmin(days[None, :], stop_day[:, None]) / 7
    noise = rng.normal(0, E1RM_NOISE, gained_weeks.shape)
    gain = GAIN_PER_WEEK[status]
    return Lifts(
        status=status,
        times_days=np.repeat(days[None, :], n_lifts, axis=0),
        e1rm_kg=start_kg * np.exp(gain * gained_weeks + noise),
        expected_kg=start_kg * np.exp(gain * days[None, :] / 7),
        stop_day=stop_day,
    )


def measure_lift_rules(n_lifts: int, seed: int) -> tuple[LiftResult, ...]:
    """Ours as it is set, and the others at a threshold that gives them at most our false rate."""
    results: list[LiftResult] = []
    for status in GAIN_PER_WEEK:
        going = generate_lifts(status, n_lifts, seed, stops=False)
        stopped = generate_lifts(status, n_lifts, seed, stops=True)
        ours = _result(OURS, None, _our_evidence(going), _our_evidence(stopped), stopped)
        results.append(ours)
        for rule, score in ((NO_NEW_BEST, _days_without_best), (TOLD_ALL, _stall_likelihood)):
            going_scores, stopped_scores = score(going), score(stopped)

            def false_rate(threshold: float, scores: Floats = going_scores) -> float:
                return openings_per_year(follow_alerts(scores >= threshold).opens)

            threshold = threshold_for(false_rate, going_scores, ours.false_per_year)
            is_stopped, is_going = stopped_scores >= threshold, going_scores >= threshold
            results.append(_result(rule, threshold, is_going, is_stopped, stopped))
    return tuple(results)


def _result(
    rule: str, threshold: float | None, going_evidence: Bools, stopped_evidence: Bools, stopped: Lifts
) -> LiftResult:
    opens = follow_alerts(stopped_evidence).opens
    early, late = (found_within(opens, stopped.stop_day, days) for days in FOUND_WITHIN_DAYS)
    false_per_year = openings_per_year(follow_alerts(going_evidence).opens)
    return LiftResult(rule, stopped.status, threshold, false_per_year, early, late)


def _our_evidence(lifts: Lifts) -> Bools:
    n_lifts = len(lifts.stop_day)
    nights = see_lift_nights(
        lifts.times_days,
        lifts.e1rm_kg,
        np.full(n_lifts, lifts.status),
        np.full(n_lifts, ASSUMED_STEP_KG),
        np.arange(N_DAYS),
    )
    return nights.is_stalled | nights.is_regressing


def _on_days(lifts: Lifts, values: Floats) -> Floats:
    daily = np.full((len(lifts.stop_day), N_DAYS), np.nan)
    daily[:, lifts.times_days[0].astype(int)] = values
    return daily


def _days_without_best(lifts: Lifts) -> Floats:
    daily = np.nan_to_num(_on_days(lifts, lifts.e1rm_kg), nan=0.0)
    best = np.maximum.accumulate(daily, axis=1)
    is_new_best = np.diff(best, axis=1, prepend=0.0) > 0
    days = np.arange(N_DAYS)
    best_on = np.maximum.accumulate(np.where(is_new_best, days, 0), axis=1)
    return np.asarray(days - best_on, dtype=np.float64)


def _stall_likelihood(lifts: Lifts) -> Floats:
    """A detector that is told the start, the rate and the noise of each lift, and looks for the day."""
    n_lifts = len(lifts.stop_day)
    return likelihood_ratios(
        _on_days(lifts, np.log(lifts.expected_kg / lifts.e1rm_kg)),
        day_correlation=np.zeros(n_lifts),
        noise_sd=np.full(n_lifts, E1RM_NOISE),
        slope_per_day=np.full(n_lifts, GAIN_PER_WEEK[lifts.status] / 7),
        ramp_days=N_DAYS,
    )
