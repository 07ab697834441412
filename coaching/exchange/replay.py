"""A history played night by night, as the nights would have seen it: what they would have flagged."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from coaching.compute import strength
from coaching.compute.alert_life import follow_alerts
from coaching.compute.pain import find_over_limit
from coaching.compute.pain_trend import DEFAULT_SETTINGS as PAIN_TREND
from coaching.compute.pain_trend import PainTrendSettings, assess_sites
from coaching.compute.progress import REGRESSING, STALLED, assess_lifts
from coaching.exchange.history_csv import LiftRow, PainHistory, Series
from coaching.models import AlertKind

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Texts = NDArray[np.str_]

ASSUMED_STEP_KG = 2.5  # a history does not say what the equipment can do

Tell = Callable[[int, int], object]  # hears which night of how many is played


def say_nothing(night: int, nights: int) -> None:
    """For who does not want to hear how far it is."""


@dataclass(frozen=True, slots=True)
class Flag:
    """An alert that the night of `opened_on` would have opened."""

    series: Series
    opened_on: date
    kind: str


@dataclass(frozen=True, slots=True)
class PainNights:
    """Evidence of each night; every array is (n_series, n_nights), night D in the column of the day D-1.

    margin is what the statistic of the pain lies above its threshold.
    """

    is_with_volume: Bools
    is_rising: Bools
    is_over_limit: Bools
    margin: Floats
    volume_change: Floats


@dataclass(frozen=True, slots=True)
class LiftNights:
    """Evidence of each night; every array is (n_lifts, n_nights)."""

    is_stalled: Bools
    is_regressing: Bools


def see_pain_nights(
    pain: Floats, joint_reps: Floats, settings: PainTrendSettings = PAIN_TREND, tell: Tell = say_nothing
) -> PainNights:
    """What each night would have seen in daily arrays; night D sees the days up to D-1 and nothing later."""
    shape = pain.shape
    with_volume, rising, limit = np.zeros(shape, bool), np.zeros(shape, bool), np.zeros(shape, bool)
    margin, volume_change = np.full(shape, np.nan), np.full(shape, np.nan)
    no_limits = np.full(shape[0], np.nan)
    for night in range(shape[1]):
        tell(night, shape[1])
        window = slice(max(0, night + 1 - settings.window_days), night + 1)
        found = assess_sites(pain[:, window], joint_reps[:, window], settings)
        with_volume[:, night], rising[:, night] = found.is_pain_with_volume, found.is_pain_rising
        margin[:, night] = found.statistic - found.threshold
        volume_change[:, night] = found.volume_change
        limit[:, night] = find_over_limit(pain[:, window], no_limits).is_over_limit
    return PainNights(with_volume, rising, limit, margin, volume_change)


def see_lift_nights(
    times_days: Floats,
    e1rm_kg: Floats,
    status: Texts,
    steps_kg: Floats,
    as_of_days: Ints,
    tell: Tell = say_nothing,
) -> LiftNights:
    """What the nights that see up to `as_of_days` would have seen in exposures, padded with nan."""
    is_comparable = ~np.isnan(e1rm_kg)
    shape = (len(times_days), len(as_of_days))
    stalled, regressing = np.zeros(shape, bool), np.zeros(shape, bool)
    for night, as_of_day in enumerate(as_of_days):
        tell(night, len(as_of_days))
        found = assess_lifts(
            times_days, e1rm_kg, is_comparable, status, as_of_day=float(as_of_day), increment_kg=steps_kg
        )
        stalled[:, night], regressing[:, night] = found.state == STALLED, found.state == REGRESSING
    return LiftNights(stalled, regressing)


def replay_pain(history: PainHistory, tell: Tell = say_nothing) -> list[Flag]:
    """The alerts of a pain history; night D sees the days up to D-1 and nothing later."""
    nights = see_pain_nights(history.pain, history.joint_reps, tell=tell)
    graver = follow_alerts(nights.is_with_volume)
    flags = _flags(history.sites, history.first_on, AlertKind.PAIN_WITH_VOLUME, graver.opens)
    milder = follow_alerts(nights.is_rising, is_held_back=graver.stands)
    flags += _flags(history.sites, history.first_on, AlertKind.PAIN_RISING, milder.opens)
    limit = follow_alerts(nights.is_over_limit)
    flags += _flags(history.sites, history.first_on, AlertKind.PAIN_LIMIT, limit.opens)
    return sorted(flags, key=lambda flag: (flag.opened_on, flag.series, flag.kind))


def replay_lifts(rows: Sequence[LiftRow], tell: Tell = say_nothing) -> list[Flag]:
    """The alerts of a history of sets; night D sees the sets up to D-1 and nothing later.

    Each lift's training status is the one its newest seen set names. Attendance is not in such a file, so it
    is taken as known to be good.
    """
    if not rows:
        return []
    lifts = tuple(dict.fromkeys(row.lift for row in rows))
    exposures = [_exposures([row for row in rows if row.lift == lift]) for lift in lifts]
    first = min(int(days[0]) for days, _, _ in exposures)
    last = max(int(days[-1]) for days, _, _ in exposures)
    times, e1rm_kg = _padded([days for days, _, _ in exposures]), _padded([best for _, best, _ in exposures])
    status = np.array([status for _, _, status in exposures], dtype=np.str_)
    steps = np.full(len(lifts), ASSUMED_STEP_KG)
    nights = see_lift_nights(times, e1rm_kg, status, steps, np.arange(first, last + 1), tell)
    first_on = date.fromordinal(first)
    flags = _flags(lifts, first_on, AlertKind.STALLED_LIFT, follow_alerts(nights.is_stalled).opens)
    flags += _flags(lifts, first_on, AlertKind.REGRESSING_LIFT, follow_alerts(nights.is_regressing).opens)
    return sorted(flags, key=lambda flag: (flag.opened_on, flag.series, flag.kind))


def _exposures(rows: Sequence[LiftRow]) -> tuple[Floats, Floats, str]:
    """Days, each day's best valid e1RM (nan where no set may carry one), and the newest training status."""
    best: dict[int, float] = {}
    for row in rows:
        day = row.day_on.toordinal()
        best.setdefault(day, np.nan)
        if row.load_kg and strength.is_valid_for_1rm(row.reps, row.rir, ended_by_pain=False, is_fresh=True):
            best[day] = float(np.fmax(best[day], strength.estimated_1rm(row.load_kg, row.reps, row.rir)))
    return np.array(list(best), float), np.array(list(best.values())), rows[-1].training_status


def _padded(series: Sequence[Floats]) -> Floats:
    width = max(len(values) for values in series)
    return np.array([np.pad(values, (0, width - len(values)), constant_values=np.nan) for values in series])


def _flags(series: Sequence[Series], first_on: date, kind: AlertKind, opens: Bools) -> list[Flag]:
    return [
        Flag(series[row], first_on + timedelta(days=int(column) + 1), kind.value)
        for row, column in zip(*np.nonzero(opens), strict=True)
    ]
