"""Generated cohorts of invented clients whose truth is known: who flares, when, and how steeply."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

N_DAYS = 280
QUIET_KINDS = ("stable", "flat_volume", "step_up", "blocks", "holiday", "steady_pain", "bad_nights")
FLARE_KINDS = ("flare", "slow_flare")
FALLING_KIND = "falling_volume"
KINDS = (*QUIET_KINDS, *FLARE_KINDS, FALLING_KIND)

RISE_WEEKS = 6
RISE_PER_WEEK = {"flare": (0.5, 1.0), "slow_flare": (0.3, 0.5), FALLING_KIND: (0.5, 1.0)}


@dataclass(frozen=True, slots=True)
class Cohort:
    """Daily arrays of one kind of client and the truth behind them.

    Attributes:
        kind: one of KINDS.
        pain: (n_series, n_days) whole points, nan = no report.
        joint_reps: (n_series, n_days), 0 = not trained.
        onset_day: column from which volume changes, and pain after a lag; nan if the pain never climbs.
        usual_pain: level before any rise, in points before rounding.
        pain_per_week: rise, 0 if the pain never climbs.
        sought_per_week: the rise that an all-knowing detector looks for; where pain never climbs, the rise
            that a flare of this client would have.
        day_correlation, noise_sd: of the noise around the level.
    """

    kind: str
    pain: Floats
    joint_reps: Floats
    onset_day: Floats
    usual_pain: Floats
    pain_per_week: Floats
    sought_per_week: Floats
    day_correlation: Floats
    noise_sd: Floats


def generate(kind: str, n_series: int, seed: int, n_days: int = N_DAYS) -> Cohort:
    """Clients of one kind: two to four sessions a week, some missed, some without a report, whole points."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    days = np.arange(n_days)
    onset = rng.integers(100, n_days - 90, n_series).astype(float)
    days_in = days[None, :] - onset[:, None]
    volume = _session_volume(rng, kind, days_in)
    has_rise = kind in RISE_PER_WEEK
    sought_per_week = rng.uniform(*RISE_PER_WEEK.get(kind, (0.3, 1.0)), n_series)
    pain_per_week = sought_per_week if has_rise else np.zeros(n_series)
    lag = rng.integers(2, 10, n_series)
    rise = pain_per_week[:, None] * np.clip((days_in - lag[:, None]) / 7, 0, RISE_WEEKS)

    usual = rng.uniform(*((3.0, 5.0) if kind == "steady_pain" else (0.5, 3.5)), n_series)
    correlation = rng.uniform(0.6, 0.85, n_series)
    noise_sd = rng.uniform(0.5, 0.9, n_series)
    noise = noise_sd[:, None] * _autocorrelated(rng, correlation, n_days)
    is_bad_night = rng.random((n_series, n_days)) < (0.06 if kind == "bad_nights" else 0.02)
    felt = usual[:, None] + rise + noise + is_bad_night * rng.uniform(3, 6, (n_series, n_days))

    is_trained = _training_days(rng, n_series, days) & (volume > 0)
    wobble = rng.normal(1, 0.08, volume.shape)
    joint_reps = np.where(is_trained, np.maximum(1, np.round(volume * wobble)), 0.0)
    is_reported = is_trained & (rng.random(felt.shape) >= rng.uniform(0.15, 0.20, (n_series, 1)))
    return Cohort(
        kind=kind,
        pain=np.where(is_reported, np.clip(np.round(felt), 0, 10), np.nan),
        joint_reps=joint_reps,
        onset_day=onset if has_rise else np.full(n_series, np.nan),
        usual_pain=usual,
        pain_per_week=pain_per_week,
        sought_per_week=sought_per_week,
        day_correlation=correlation,
        noise_sd=noise_sd,
    )


def _session_volume(rng: np.random.Generator, kind: str, days_in: Floats) -> Floats:
    """Planned joint reps of a session on each day."""
    n_series, n_days = days_in.shape
    each = (n_series, 1)
    if kind == "flat_volume":
        return np.repeat(rng.uniform(20, 60, each), n_days, axis=1)
    if kind == "stable":
        return _drifting_volume(rng, n_series, n_days)
    volume = _block_volume(rng, n_series, n_days)
    weeks_in = np.clip(days_in / 7, 0, RISE_WEEKS)
    if kind in FLARE_KINDS:
        return volume * (1 + rng.uniform(0.07, 0.15, each)) ** weeks_in
    if kind == FALLING_KIND:
        return volume * (1 - rng.uniform(0.05, 0.1, each)) ** weeks_in
    if kind == "step_up":
        return volume * np.where(days_in >= 0, rng.uniform(1.2, 1.5, each), 1.0)
    if kind == "holiday":
        return volume * ((days_in < 0) | (days_in >= 21))
    return volume


def _drifting_volume(rng: np.random.Generator, n_series: int, n_days: int) -> Floats:
    """A level that wanders by some per cent from week to week and comes back."""
    weekly = 0.06 * _autocorrelated(rng, np.full(n_series, 0.7), n_days // 7 + 1)
    return rng.uniform(20, 60, (n_series, 1)) * np.exp(np.repeat(weekly, 7, axis=1)[:, :n_days])


def _block_volume(rng: np.random.Generator, n_series: int, n_days: int) -> Floats:
    """Blocks of four to six weeks that climb and end in a deload week."""
    start = rng.uniform(20, 60, (n_series, 1))
    length = rng.integers(4, 7, (n_series, 1))
    place = (np.arange(n_days)[None, :] // 7 + rng.integers(0, 6, (n_series, 1))) % length
    climb = 1 + rng.uniform(0.02, 0.06, (n_series, 1)) * place
    return start * np.where(place == length - 1, rng.uniform(0.45, 0.65, (n_series, 1)), climb)


def _training_days(rng: np.random.Generator, n_series: int, days: Ints) -> Bools:
    patterns = np.array([[1, 0, 0, 1, 0, 0, 0], [1, 0, 1, 0, 1, 0, 0], [1, 1, 0, 1, 1, 0, 0]], dtype=bool)
    shift = rng.integers(0, 7, (n_series, 1))
    planned = patterns[rng.integers(0, 3, n_series)[:, None], (days[None, :] + shift) % 7]
    is_trained: Bools = planned & (rng.random(planned.shape) >= rng.uniform(0.10, 0.20, (n_series, 1)))
    return is_trained


def _autocorrelated(rng: np.random.Generator, correlation: Floats, n_steps: int) -> Floats:
    noise = rng.normal(0, 1, (len(correlation), n_steps))
    for step in range(1, n_steps):
        noise[:, step] = correlation * noise[:, step - 1] + np.sqrt(1 - correlation**2) * noise[:, step]
    return noise
