"""Load of sessions and weeks from the effort of the session: change, monotony, strain, averages, ratios.

None of these numbers raises an alert: no threshold of them is known to cause or foretell injury in lifting.
"""

import math
from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import ArrayLike, NDArray

Floats = NDArray[np.float64]

DAYS_PER_WEEK = 7

COUPLED = "coupled"
UNCOUPLED = "uncoupled"
EWMA = "ewma"

SUPPRESSED = "suppressed"
PROVISIONAL = "provisional"
ESTABLISHED = "established"

SHORT_HISTORY = "short_history"
FEW_DAYS_OBSERVED = "few_days_observed"
NO_CHRONIC_LOAD = "no_chronic_load"

ACUTE_DAYS = 7
CHRONIC_DAYS = 28
SETTLED_DAYS = 56
MIN_OBSERVED_DAYS = 21


@dataclass(frozen=True, slots=True)
class WeeklyChange:
    """This week against the usual trained week.

    Attributes:
        usual: median of the trained weeks before, in the unit of the weeks; nan below three of them.
        absolute: this week - usual.
        relative: absolute / usual, as a fraction.
        n_weeks: trained weeks that usual rests on.
    """

    usual: float
    absolute: float
    relative: float
    n_weeks: int


@dataclass(frozen=True, slots=True)
class WorkloadRatio:
    """Load of the last week against the last four; kept for those who ask for it, never an alert.

    Attributes:
        ratio: acute / chronic; nan where suppressed.
        acute: daily load of the last 7 days, and
        chronic: daily load it is held against; both nan where no day of theirs was observed.
        method: coupled (chronic = 28 days, the acute ones included), uncoupled (the 21 days before) or ewma.
        state: suppressed, provisional (28 to 55 days of history) or established.
        reason: why suppressed, else empty: short_history, few_days_observed, no_chronic_load.
        n_history_days: days since the first observed one.
        n_observed_days: observed ones among the last 28.
    """

    ratio: float
    acute: float
    chronic: float
    method: str
    state: str
    reason: str
    n_history_days: int
    n_observed_days: int


def session_load(session_rpe: float, duration_min: float) -> float:
    """Give the load of a session.

    Args:
        session_rpe: effort of the whole session, 0 to 10; not the effort of one set.
        duration_min: minutes, 0 or more.

    Returns:
        Effort x minutes, in arbitrary units.

    Raises:
        ValueError: a value is out of range.

    Source:
        Foster 1998, Med Sci Sports Exerc 30(7):1164-1168.

    >>> session_load(7, 60)
    420.0
    """
    if not 0 <= session_rpe <= 10:
        raise ValueError(f"session_rpe must lie in 0 to 10, got {session_rpe}")
    if not 0 <= duration_min < math.inf:
        raise ValueError(f"duration_min must be a finite number of 0 or more, got {duration_min}")
    return float(session_rpe * duration_min)


def weekly_total(daily: ArrayLike) -> float:
    """Add up the loads of seven days.

    Args:
        daily: (7,) load of each day, 0 = asked and nothing trained, nan = not observed.

    Returns:
        The sum in the unit of daily; nan where a day was not observed.

    Raises:
        ValueError: not seven days, or a load below 0 or infinite.

    Source:
        Foster 1998, Med Sci Sports Exerc 30(7):1164-1168.

    >>> weekly_total([300, 0, 525, 0, 360, 360, 0])
    1545.0
    """
    return float(_week(daily).sum())


def change_against_trained_weeks(
    this_week: float, weeks_before: ArrayLike, *, n_weeks: int = 4, min_weeks: int = 3
) -> WeeklyChange:
    """Hold a week against the median of the trained weeks before it.

    Args:
        this_week: total of the week, 0 or more; nan = not known.
        weeks_before: (n,) totals of the weeks before, oldest first, in the same unit (load, joint reps or
            sets); weeks of 0 or nan are passed over.
        n_weeks: trained weeks looked back to.
        min_weeks: trained weeks needed.

    Returns:
        WeeklyChange; nan where too few trained weeks are there.

    Raises:
        ValueError: weeks_before is not 1-D, a total is below 0 or infinite, or n_weeks or min_weeks below 1.

    Source:
        Design choice.

    >>> change_against_trained_weeks(120, [90, 100, 0, 100, 110]).relative
    0.2
    """
    for name, number in (("n_weeks", n_weeks), ("min_weeks", min_weeks)):
        if number < 1:
            raise ValueError(f"{name} must be 1 or more, got {number}")
    weeks = _loads("weeks_before", weeks_before)
    week = float(_loads("this_week", [this_week])[0])
    trained = weeks[weeks > 0][-n_weeks:]
    usual = float(np.median(trained)) if trained.size >= min_weeks else math.nan
    return WeeklyChange(
        usual=usual, absolute=week - usual, relative=(week - usual) / usual, n_weeks=trained.size
    )


def monotony(daily: ArrayLike, ddof: int = 1) -> float:
    """Give the mean load of a week's days over its standard deviation.

    Args:
        daily: (7,) load of each day, rest days as 0; nan = not observed.
        ddof: 1 = sample standard deviation, 0 = population; tell it with the value.

    Returns:
        Monotony; nan for seven equal days and where a day was not observed.

    Raises:
        ValueError: not seven days, a load below 0 or infinite, or another ddof.

    Notes:
        With two or three sessions a week it lies between 0.8 and 1.2 whatever is done.

    Source:
        Foster 1998, Med Sci Sports Exerc 30(7):1164-1168; his standard deviation could not be verified.

    >>> round(monotony([300, 0, 525, 0, 360, 360, 0]), 4)
    1.0148
    """
    if ddof not in (0, 1):
        raise ValueError(f"ddof must be 0 or 1, got {ddof}")
    week = _week(daily)
    # Seven equal loads can have a tiny standard deviation in floating point.
    if np.ptp(week) == 0:
        return math.nan
    return float(week.mean() / week.std(ddof=ddof))


def strain(daily: ArrayLike, ddof: int = 1) -> float:
    """Give the weekly load times the monotony.

    Args:
        daily, ddof: as for monotony.

    Returns:
        Strain in the unit of daily; nan where monotony is.

    Raises:
        ValueError: as monotony.

    Source:
        As monotony.

    >>> round(strain([300, 0, 525, 0, 360, 360, 0]), 2)
    1567.88
    """
    return weekly_total(daily) * monotony(daily, ddof)


def ewma(daily: ArrayLike, span: float) -> Floats:
    """Give the exponentially weighted moving average after each day.

    Args:
        daily: (n,) values, the first one seeds the average; nan = not observed.
        span: N days, 1 or more; alpha = 2 / (N + 1).

    Returns:
        (n,) averages, in the unit of daily. A day not observed keeps the average; before the first observed
        day it is nan.

    Raises:
        ValueError: daily is not 1-D or holds an infinite value, or span is below 1.

    Source:
        Williams et al. 2017, Br J Sports Med 51(3):209-210. Seed and missing days: design choice.

    >>> ewma([10, 20, float("nan"), 20], span=3)
    array([10. , 15. , 15. , 17.5])
    """
    alpha = _alpha(span)
    values = np.asarray(daily, dtype=np.float64)
    if values.ndim != 1:
        raise ValueError(f"daily must have one dimension, got {values.ndim}")
    if np.isinf(values).any():
        raise ValueError(f"daily must be finite or nan, got {float(values[np.isinf(values)][0])}")
    averages = np.full(values.shape, np.nan)
    level = math.nan
    for day, value in enumerate(values.tolist()):
        if math.isnan(level):
            level = value
        elif not math.isnan(value):
            level = alpha * value + (1 - alpha) * level
        averages[day] = level
    return averages


def ewma_after_gap(level: float, gap_days: int, span: float) -> float:
    """Give the average after days that were asked about and held no load.

    Args:
        level: average before the gap.
        gap_days: days without load, 0 or more.
        span: as for ewma.

    Returns:
        (1 - alpha) ** gap_days x level.

    Raises:
        ValueError: gap_days below 0 or span below 1.

    Source:
        The recursion of ewma with loads of 0.

    >>> ewma_after_gap(100, 2, span=3)
    25.0
    """
    if gap_days < 0:
        raise ValueError(f"gap_days must be 0 or more, got {gap_days}")
    return float((1 - _alpha(span)) ** gap_days * level)


def rolling_ratio(daily: ArrayLike, method: str = UNCOUPLED) -> WorkloadRatio:
    """Hold the mean load of the last 7 days against that of four weeks.

    Args:
        daily: (n,) load of each day up to today, 0 = asked and nothing trained, nan = not observed; days
            before the first observed one are no history.
        method: uncoupled (the 21 days before the last 7) or coupled (all 28).

    Returns:
        WorkloadRatio, suppressed with its reason below 28 days of history, below 21 observed ones among the
        last 28, and without chronic load; provisional below 56 days of history. Means are over observed days.

    Raises:
        ValueError: daily is not 1-D, a load is below 0 or infinite, or another method.

    Notes:
        Both methods hold the same information: coupled = 4 u / (u + 3). The ratio neither foretells injury
        nor should steer load (Impellizzeri et al. 2021, Sports Med).

    Source:
        Ratio: Gabbett 2016, Br J Sports Med 50(5):273-280. Guards: design choice.

    >>> round(rolling_ratio([30] * 21 + [50] * 7).ratio, 4)
    1.6667
    """
    if method not in (COUPLED, UNCOUPLED):
        raise ValueError(f"method must be {COUPLED} or {UNCOUPLED}, got {method}")
    history = _history(daily)
    before = history[-CHRONIC_DAYS:] if method == COUPLED else history[-CHRONIC_DAYS:-ACUTE_DAYS]
    return _guarded(history, _mean(history[-ACUTE_DAYS:]), _mean(before), method)


def ewma_ratio(daily: ArrayLike) -> WorkloadRatio:
    """Hold the exponentially weighted load of span 7 days against that of span 28.

    Args:
        daily: as for rolling_ratio.

    Returns:
        WorkloadRatio with the same guards: the seed still weighs 13.5 % in the chronic average after 28 days
        and 1.8 % after 56.

    Raises:
        ValueError: daily is not 1-D, or a load is below 0 or infinite.

    Source:
        Williams et al. 2017, Br J Sports Med 51(3):209-210. Guards: design choice.

    >>> round(ewma_ratio([30] * 21 + [50] * 7).ratio, 6)
    1.249746
    """
    history = _history(daily)
    acute, chronic = (
        float(ewma(history, span)[-1]) if history.size else math.nan for span in (ACUTE_DAYS, CHRONIC_DAYS)
    )
    return _guarded(history, acute, chronic, EWMA)


def _guarded(history: Floats, acute: float, chronic: float, method: str) -> WorkloadRatio:
    is_observed = ~np.isnan(history[-CHRONIC_DAYS:])
    n_observed = int(is_observed.sum())
    reason = ""
    if history.size < CHRONIC_DAYS:
        reason = SHORT_HISTORY
    elif n_observed < MIN_OBSERVED_DAYS or not is_observed[-ACUTE_DAYS:].any():
        reason = FEW_DAYS_OBSERVED
    elif not chronic > 0:
        reason = NO_CHRONIC_LOAD
    state = PROVISIONAL if history.size < SETTLED_DAYS else ESTABLISHED
    return WorkloadRatio(
        ratio=math.nan if reason else acute / chronic,
        acute=acute,
        chronic=chronic,
        method=method,
        state=SUPPRESSED if reason else state,
        reason=reason,
        n_history_days=history.size,
        n_observed_days=n_observed,
    )


def _history(daily: ArrayLike) -> Floats:
    """Days from the first observed one on."""
    loads = _loads("daily", daily)
    observed = np.nonzero(~np.isnan(loads))[0]
    return loads[observed[0] :] if observed.size else loads[:0]


def _mean(loads: Floats) -> float:
    seen = loads[~np.isnan(loads)]
    return float(seen.mean()) if seen.size else math.nan


def _week(daily: ArrayLike) -> Floats:
    week = _loads("daily", daily)
    if week.size != DAYS_PER_WEEK:
        raise ValueError(f"daily must hold {DAYS_PER_WEEK} days, got {week.size}")
    return week


def _loads(name: str, numbers: ArrayLike) -> Floats:
    loads = np.asarray(numbers, dtype=np.float64)
    if loads.ndim != 1:
        raise ValueError(f"{name} must have one dimension, got {loads.ndim}")
    is_wrong = (loads < 0) | np.isinf(loads)
    if is_wrong.any():
        raise ValueError(f"{name} must be finite and 0 or more, or nan, got {float(loads[is_wrong][0])}")
    return loads


def _alpha(span: float) -> float:
    if not 1 <= span < math.inf:
        raise ValueError(f"span must be a finite number of 1 or more, got {span}")
    return 2 / (span + 1)
