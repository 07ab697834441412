"""Tolerated exposure: the weekly joint reps of a site that quiet weeks have followed."""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from coaching.compute.arrays import NDArray
from coaching.compute.pain import MORNING_TOLERANCE, check_pain, is_over_limit, is_unsettled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

METHOD = "rolling_weeks_followed_by_quiet"
VERSION = "1"
WEEK = 7


@dataclass(frozen=True, slots=True)
class ToleratedSettings:
    """Constants of a quiet week.

    Attributes:
        tolerance: points by which mornings and weekly medians may lie higher and still be noise.
        usual_days: days before the week from which the usual morning and the usual pain are taken.
        min_usual: reports needed for a usual one; with fewer, only a morning up to the tolerance settles.
    """

    tolerance: float = MORNING_TOLERANCE
    usual_days: int = 56
    min_usual: int = 5


DEFAULT_SETTINGS = ToleratedSettings()


@dataclass(frozen=True, slots=True, eq=False)
class ToleratedExposure:
    """What each site has tolerated; every array has one entry per site.

    A week is the seven local days up to a day; there is one for every day, so weeks overlap.

    Attributes:
        most_done: most joint reps of any seven days, whatever followed; nan with fewer than seven days.
        highest: most joint reps of a week that a quiet week followed; nan where there is none.
        highest_day: column in which the newest such week ends, -1 where there is none.
        repeated: most joint reps that two weeks without a day in common both reached and a quiet week
            followed each; nan where there are no two.
        repeated_day: column in which the newest quiet week of at least so many joint reps ends, or -1.
        n_assessed: weeks with joint reps that have seven days after them. Each is one of
        n_quiet, n_not_quiet, n_unknown.
        n_separate_quiet: quiet ones of which no two have a day in common.
        n_not_quiet_within: weeks of no more joint reps than highest that were not quiet.
    """

    most_done: Floats
    highest: Floats
    highest_day: Ints
    repeated: Floats
    repeated_day: Ints
    n_assessed: Ints
    n_quiet: Ints
    n_not_quiet: Ints
    n_unknown: Ints
    n_separate_quiet: Ints
    n_not_quiet_within: Ints


@dataclass(frozen=True, slots=True, eq=False)
class PlannedAgainstTolerated:
    """Weekly joint reps of a plan against cap and history, one entry per site.

    Attributes:
        is_over_cap: more than the cap; false where there is none.
        is_above_highest, is_above_repeated: more than any, than twice any, quiet week has followed.
        ratio_to_repeated: planned over repeated; nan where there is none.
        has_history: at least one quiet week is known, so that the two above mean something.
    """

    is_over_cap: Bools
    is_above_highest: Bools
    is_above_repeated: Bools
    ratio_to_repeated: Floats
    has_history: Bools


def tolerated_exposure(
    joint_reps: Floats,
    pain: Floats,
    next_morning: Floats,
    limits: Floats,
    settings: ToleratedSettings = DEFAULT_SETTINGS,
) -> ToleratedExposure:
    """Find the most joint reps a week that each site had without stirring up pain.

    Args:
        joint_reps: (n_sites, n_days) joint reps of each local day, 0 = none; the last column is the newest.
        pain: (n_sites, n_days) pain of the day, 0-10; nan = not reported.
        next_morning: (n_sites, n_days) pain of the morning after, on its training day; nan = not reported.
        limits: (n_sites,) the client's own pain limit; nan = none, then 6.
        settings: constants of the rule.

    Returns:
        ToleratedExposure.

    Raises:
        ValueError: shapes differ, pain outside 0-10, joint reps missing or below 0, or a constant is out of
            range.

    Notes:
        A week is followed by quiet if, in it and in the seven days after, no day reached the limit and no
        morning lay above the usual one by more than the tolerance, and the median of the seven days after is
        not above that of the week, nor above the usual pain, by more than the tolerance: pain that climbs
        slowly passes every comparison of two weeks. The week itself is looked at too, or a rest that pain
        enforced would pass for quiet. It is unknown if either week has no report, if no morning
        after is known, or if a morning above the tolerance has no usual one to be held against; what speaks
        against quiet outweighs what is unknown.

        It tells what has been, not what is safe: it gives no chance of an injury and no advice to reach it.

    Source:
        Pain-monitoring model: up to 5 during and after, settled by the next morning, no increase from week to
        week; Thomee 1997, Silbernagel 2007 (rules from memory). Rolling weeks, twice: design choice.

    >>> reps = np.repeat([[20.0, 30.0, 40.0, 40.0]], 7, axis=1) / 7
    >>> pain = np.repeat([[1.0, 1.0, 1.0, 4.0]], 7, axis=1)
    >>> found = tolerated_exposure(reps, pain, np.ones((1, 28)), np.array([np.nan]))
    >>> found.highest.round(1), found.highest_day, found.repeated.round(1)
    (array([34.3]), array([16]), array([24.3]))
    """
    _check(joint_reps, pain, next_morning, settings)
    most_done = _most_done(joint_reps)
    if joint_reps.shape[1] < 2 * WEEK:
        return _nothing_known(most_done)
    weekly = sliding_window_view(joint_reps, WEEK, axis=1)[:, :-WEEK].sum(axis=2)
    is_bad, is_unknown = _judge(pain, next_morning, limits, settings)
    is_assessed = weekly > 0
    is_quiet = is_assessed & ~is_bad & ~is_unknown
    highest, highest_day = _newest_highest(weekly, is_quiet)
    repeated = _repeated(weekly, is_quiet)
    at_repeated = np.where(is_quiet & (weekly >= repeated[:, None]), np.arange(weekly.shape[1]), -1)
    newest = at_repeated.max(axis=1)
    return ToleratedExposure(
        most_done=most_done,
        highest=highest,
        highest_day=highest_day,
        repeated=repeated,
        repeated_day=np.where(newest >= 0, newest + WEEK - 1, -1),
        n_assessed=is_assessed.sum(axis=1),
        n_quiet=is_quiet.sum(axis=1),
        n_not_quiet=(is_assessed & is_bad).sum(axis=1),
        n_unknown=(is_assessed & ~is_bad & is_unknown).sum(axis=1),
        n_separate_quiet=_count_separate(is_quiet),
        n_not_quiet_within=(is_assessed & is_bad & (weekly <= highest[:, None])).sum(axis=1),
    )


def hold_against_tolerated(
    planned_joint_reps: Floats, caps: Floats, tolerated: ToleratedExposure
) -> PlannedAgainstTolerated:
    """Hold the weekly joint reps of a plan against the cap and against what each site has tolerated.

    Args:
        planned_joint_reps: (n_sites,) joint reps of a week of the plan.
        caps: (n_sites,) cap on weekly joint reps; nan = none.
        tolerated: what the same sites have tolerated.

    Returns:
        PlannedAgainstTolerated; nothing is above a history that is not there.

    Raises:
        ValueError: shapes differ, or planned joint reps missing or below 0.

    Source:
        Design choice.

    >>> quiet = tolerated_exposure(np.full((1, 35), 5.0), np.ones((1, 35)), np.ones((1, 35)), np.array([6.0]))
    >>> held = hold_against_tolerated(np.array([70.0]), np.array([60.0]), quiet)
    >>> held.is_over_cap, held.is_above_highest, held.ratio_to_repeated
    (array([ True]), array([ True]), array([2.]))
    """
    for name, array in (("caps", caps), ("tolerated", tolerated.highest)):
        if array.shape != planned_joint_reps.shape:
            raise ValueError(
                f"{name} must have the shape of planned_joint_reps {planned_joint_reps.shape}, "
                f"got {array.shape}"
            )
    _check_joint_reps("planned_joint_reps", planned_joint_reps)
    return PlannedAgainstTolerated(
        is_over_cap=planned_joint_reps > caps,
        is_above_highest=planned_joint_reps > tolerated.highest,
        is_above_repeated=planned_joint_reps > tolerated.repeated,
        ratio_to_repeated=planned_joint_reps / tolerated.repeated,
        has_history=~np.isnan(tolerated.highest),
    )


def _judge(
    pain: Floats, next_morning: Floats, limits: Floats, settings: ToleratedSettings
) -> tuple[Bools, Bools]:
    """For each week with seven days after it: what speaks against quiet, and what is not known."""
    week = sliding_window_view(pain, WEEK, axis=1)
    median = _median_of_known(week)
    before, after = median[:, :-WEEK], median[:, WEEK:]
    is_over = _any_in_two_weeks(is_over_limit(pain, limits) | is_over_limit(next_morning, limits))
    usual = _usual(next_morning, settings)
    mornings = sliding_window_view(next_morning, 2 * WEEK, axis=1)
    is_restless = is_unsettled(mornings, usual[:, :, None], settings.tolerance).any(axis=2)
    has_morning = (~np.isnan(mornings)).any(axis=2)
    is_judged_by_usual = ~np.isnan(usual) | ~(mornings > settings.tolerance).any(axis=2)
    is_rising = (after > before + settings.tolerance) | (after > _usual(pain, settings) + settings.tolerance)
    is_unknown = np.isnan(before) | np.isnan(after) | ~has_morning | ~is_judged_by_usual
    return is_over | is_restless | is_rising, is_unknown


def _any_in_two_weeks(is_marked: Bools) -> Bools:
    return np.asarray(sliding_window_view(is_marked, 2 * WEEK, axis=1).any(axis=2))


def _usual(reported: Floats, settings: ToleratedSettings) -> Floats:
    """Median of what was reported before each week, nan where too little was."""
    n_weeks = reported.shape[1] - 2 * WEEK + 1
    missing = np.full((len(reported), settings.usual_days), np.nan)
    # With so much padding, the window of the week that begins in a column ends just before that column.
    padded = np.concatenate([missing, reported], axis=1)
    windows = sliding_window_view(padded, settings.usual_days, axis=1)[:, :n_weeks]
    n_known = (~np.isnan(windows)).sum(axis=2)
    return np.where(n_known >= settings.min_usual, _median_of_known(windows), np.nan)


def _median_of_known(windows: Floats) -> Floats:
    """Median of the known entries along the last axis, nan where there is none."""
    ordered = np.sort(windows, axis=2)
    n_known = (~np.isnan(windows)).sum(axis=2)
    low, high = (
        np.take_along_axis(ordered, place[:, :, None], axis=2)[:, :, 0]
        for place in (np.maximum(n_known - 1, 0) // 2, np.minimum(n_known // 2, windows.shape[2] - 1))
    )
    return np.where(n_known > 0, (low + high) / 2, np.nan)


def _newest_highest(weekly: Floats, is_quiet: Bools) -> tuple[Floats, Ints]:
    best = np.where(is_quiet, weekly, -np.inf).max(axis=1)
    places = np.where(is_quiet & (weekly == best[:, None]), np.arange(weekly.shape[1]), -1).max(axis=1)
    return np.where(places >= 0, best, np.nan), np.where(places >= 0, places + WEEK - 1, -1)


def _repeated(weekly: Floats, is_quiet: Bools) -> Floats:
    """Most that two quiet weeks without a day in common both reached."""
    quiet = np.where(is_quiet, weekly, -np.inf)
    best_so_far = np.maximum.accumulate(quiet, axis=1)
    both = np.minimum(quiet[:, WEEK:], best_so_far[:, :-WEEK])
    best = both.max(axis=1, initial=-np.inf)
    return np.where(np.isfinite(best), best, np.nan)


def _count_separate(is_quiet: Bools) -> Ints:
    """Most weeks that can be chosen without a day in common: always the next that begins late enough."""
    count = np.zeros(len(is_quiet), dtype=np.int64)
    free_from = np.zeros(len(is_quiet), dtype=np.int64)
    for day in range(is_quiet.shape[1]):
        is_taken = is_quiet[:, day] & (free_from <= day)
        count += is_taken
        free_from = np.where(is_taken, day + WEEK, free_from)
    return count


def _most_done(joint_reps: Floats) -> Floats:
    if joint_reps.shape[1] < WEEK:
        return np.full(len(joint_reps), np.nan)
    return np.asarray(sliding_window_view(joint_reps, WEEK, axis=1).sum(axis=2).max(axis=1))


def _nothing_known(most_done: Floats) -> ToleratedExposure:
    """Fewer days than a week and the seven after it."""
    none, unknown = np.zeros(len(most_done), dtype=np.int64), np.full(len(most_done), np.nan)
    return ToleratedExposure(
        most_done=most_done,
        highest=unknown,
        highest_day=none - 1,
        repeated=unknown,
        repeated_day=none - 1,
        n_assessed=none,
        n_quiet=none,
        n_not_quiet=none,
        n_unknown=none,
        n_separate_quiet=none,
        n_not_quiet_within=none,
    )


def _check(joint_reps: Floats, pain: Floats, next_morning: Floats, settings: ToleratedSettings) -> None:
    if joint_reps.ndim != 2:
        raise ValueError(f"joint_reps must have two dimensions, got {joint_reps.ndim}")
    for name, array in (("pain", pain), ("next_morning", next_morning)):
        if array.shape != joint_reps.shape:
            raise ValueError(
                f"{name} must have the shape of joint_reps {joint_reps.shape}, got {array.shape}"
            )
        check_pain(name, array)
    _check_joint_reps("joint_reps", joint_reps)
    for name, days in (("usual_days", settings.usual_days), ("min_usual", settings.min_usual)):
        if days < 1:
            raise ValueError(f"{name} must be 1 or more, got {days}")


def _check_joint_reps(name: str, joint_reps: Floats) -> None:
    is_wrong = ~((joint_reps >= 0) & np.isfinite(joint_reps))
    if is_wrong.any():
        raise ValueError(f"{name} must be finite and 0 or more, got {float(joint_reps[is_wrong][0])}")
