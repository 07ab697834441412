"""Generated cohorts of invented clients: how often are the pain rules wrong, how soon are they right?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

N_DAYS = 280
QUIET_KINDS = ("steady", "always_at_three", "holiday", "step_up")
FLARE_KINDS = ("flare", "slow_flare")
KINDS = (*QUIET_KINDS, *FLARE_KINDS, "falling_volume")


@dataclass(frozen=True, slots=True)
class Cohort:
    """Daily arrays of one kind of client and the truth behind them; onset_day is nan if nothing happens."""

    kind: str
    pain: Floats
    joint_reps: Floats
    onset_day: Floats
    usual_pain: Floats
    pain_per_week: Floats
    day_correlation: Floats
    noise_sd: Floats


def generate(kind: str, n_series: int, seed: int, n_days: int = N_DAYS) -> Cohort:
    """Clients of one kind: two to four sessions a week, some missed, some without a report, whole points."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    days = np.arange(n_days)
    onset = rng.integers(100, n_days - 90, n_series).astype(float)
    weeks_in = np.clip((days[None, :] - onset[:, None]) / 7, 0, 6)
    volume = _block_volume(rng, n_series, days)
    pain_per_week = np.zeros((n_series, 1))
    lag = rng.integers(2, 10, (n_series, 1))
    if kind in FLARE_KINDS:
        volume = volume * (1 + rng.uniform(0.07, 0.15, (n_series, 1))) ** weeks_in
        low, high = (0.5, 1.0) if kind == "flare" else (0.3, 0.5)
        pain_per_week = rng.uniform(low, high, (n_series, 1))
    elif kind == "falling_volume":
        volume = volume * (1 - rng.uniform(0.05, 0.1, (n_series, 1))) ** weeks_in
        pain_per_week = rng.uniform(0.5, 1.0, (n_series, 1))
    elif kind == "step_up":
        volume = volume * np.where(days[None, :] >= onset[:, None], rng.uniform(1.2, 1.5, (n_series, 1)), 1.0)
    elif kind == "holiday":
        volume = volume * ~((weeks_in > 0) & (weeks_in <= 3))

    extra_pain = pain_per_week * np.clip((days[None, :] - onset[:, None] - lag) / 7, 0, 6)
    if kind in ("steady", "always_at_three"):
        onset = np.full(n_series, np.nan)
    usual = np.full((n_series, 1), 3.0) if kind == "always_at_three" else rng.uniform(0.5, 3.5, (n_series, 1))
    correlation = rng.uniform(0.6, 0.85, n_series)
    noise_sd = rng.uniform(0.5, 0.9, n_series)
    noise = noise_sd[:, None] * _autocorrelated(rng, correlation, n_days)
    spikes = (rng.random((n_series, n_days)) < 0.02) * rng.uniform(3, 6, (n_series, n_days))
    felt = np.clip(np.round(usual + extra_pain + noise + spikes), 0, 10)

    is_trained = _training_days(rng, n_series, days) & (volume > 0)
    joint_reps = np.where(
        is_trained, np.maximum(1, np.round(volume * rng.normal(1, 0.08, volume.shape))), 0.0
    )
    is_reported = is_trained & (rng.random(felt.shape) >= rng.uniform(0.15, 0.20, (n_series, 1)))
    pain = np.where(is_reported, felt, np.nan)
    return Cohort(kind, pain, joint_reps, onset, usual[:, 0], pain_per_week[:, 0], correlation, noise_sd)


def _block_volume(rng: np.random.Generator, n_series: int, days: NDArray[np.int64]) -> Floats:
    """Joint reps of a session: blocks of four to six weeks that climb and end in a deload week."""
    start = rng.uniform(20, 60, (n_series, 1))
    length = rng.integers(4, 7, (n_series, 1))
    week = days[None, :] // 7 + rng.integers(0, 6, (n_series, 1))
    place = week % length
    climb = 1 + rng.uniform(0.02, 0.06, (n_series, 1)) * place
    return start * np.where(place == length - 1, rng.uniform(0.45, 0.65, (n_series, 1)), climb)


def _training_days(rng: np.random.Generator, n_series: int, days: NDArray[np.int64]) -> NDArray[np.bool_]:
    patterns = np.array([[1, 0, 0, 1, 0, 0, 0], [1, 0, 1, 0, 1, 0, 0], [1, 1, 0, 1, 1, 0, 0]], dtype=bool)
    shift = rng.integers(0, 7, (n_series, 1))
    planned = patterns[rng.integers(0, 3, n_series)[:, None], (days[None, :] + shift) % 7]
    return planned & (rng.random(planned.shape) >= rng.uniform(0.10, 0.20, (n_series, 1)))


def _autocorrelated(rng: np.random.Generator, correlation: Floats, n_days: int) -> Floats:
    noise = rng.normal(0, 1, (len(correlation), n_days))
    for day in range(1, n_days):
        noise[:, day] = correlation * noise[:, day - 1] + np.sqrt(1 - correlation**2) * noise[:, day]
    return noise


def open_alerts(fires: NDArray[np.bool_], close_after_nights: int = 14) -> NDArray[np.bool_]:
    """Nights on which an alert opens: evidence while none is open; quiet nights close it."""
    opens = np.zeros(fires.shape, dtype=bool)
    quiet_nights = np.full(len(fires), close_after_nights)
    for night in range(fires.shape[1]):
        opens[:, night] = fires[:, night] & (quiet_nights >= close_after_nights)
        quiet_nights = np.where(fires[:, night], 0, quiet_nights + 1)
    return opens
