"""Tolerated exposure: the weekly joint reps of each site that quiet weeks followed, and how much is known."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan

import numpy as np
from numpy.typing import NDArray

from coaching.compute.pain import DEFAULT_PAIN_LIMIT
from coaching.compute.tolerated import METHOD, VERSION, WEEK, ToleratedExposure, tolerated_exposure
from coaching.models import Injury, Joint, JointDay
from coaching.reads.computed import Computed, computed_over
from coaching.reads.labels import site_label

HISTORY_DAYS = 365
NOT_A_PROMISE = "It tells what has been, not what is safe."

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ToleratedSite:
    """What one site has tolerated up to `until_on`; a week is the seven local days up to a day.

    `most_done` is the most joint reps of any week, `highest` the most of a week that a quiet week followed,
    `repeated` the most that two such weeks without a day in common both reached; the dates are the newest
    last days of such weeks. Weeks are counted
    once for every day, so they overlap; `separate_quiet_weeks` have no day in common.
    """

    joint: str
    side: str
    most_done: float | None
    highest: float | None
    highest_until_on: date | None
    repeated: float | None
    repeated_until_on: date | None
    last_7_days: float
    first_on: date | None
    days_of_history: int
    weeks: int
    quiet_weeks: int
    not_quiet_weeks: int
    unknown_weeks: int
    separate_quiet_weeks: int
    not_quiet_within_highest: int
    sentence: str

    @property
    def target(self) -> str:
        return f"{self.joint}:{self.side}"


@dataclass(frozen=True, slots=True)
class ToleratedSites:
    """`exposure` has one entry per site, in the same order."""

    computed: Computed
    sites: tuple[ToleratedSite, ...]
    exposure: ToleratedExposure


@dataclass(frozen=True, slots=True)
class _Days:
    """Daily series of some sites; columns are local days from `first`, that of the client's oldest row."""

    first: date
    targets: tuple[str, ...]
    joint_reps: Floats
    pain: Floats
    next_morning: Floats


def tolerated_computed(until_on: date) -> Computed:
    return computed_over(METHOD, VERSION, until_on, HISTORY_DAYS)


def tolerated_sites(
    *, client_id: int, until_on: date, also: Collection[str] = (), injuries: Collection[Injury] | None = None
) -> ToleratedSites:
    """Every site that the last 365 days know, and those of `also`; two queries, or one with the `injuries`.

    `until_on` is the last whole day that is seen.
    """
    entries = list(Injury.objects.filter(client_id=client_id)) if injuries is None else injuries
    guarded = {row.target for row in entries if row.joint != Joint.OTHER}
    days = _days(client_id, until_on, {*also, *guarded})
    found = tolerated_exposure(days.joint_reps, days.pain, days.next_morning, _limits(days.targets, entries))
    return ToleratedSites(
        computed=tolerated_computed(until_on),
        sites=tuple(_site(days, found, row, until_on) for row in range(len(days.targets))),
        exposure=found,
    )


def _days(client_id: int, until_on: date, also: Collection[str]) -> _Days:
    oldest = until_on - timedelta(days=HISTORY_DAYS - 1)
    rows = list(
        JointDay.objects.filter(client_id=client_id, day_on__range=(oldest, until_on))
        .exclude(joint=Joint.OTHER)
        .values_list("joint", "side", "day_on", "joint_reps", "pain", "pain_next_morning")
    )
    targets = tuple(sorted({*also, *(f"{joint}:{side}" for joint, side, *_ in rows)}))
    row_of = {target: row for row, target in enumerate(targets)}
    # A part of a week, before there is anything, must not pass for a light week that went well.
    first = min((day_on for _, _, day_on, *_ in rows), default=until_on)
    shape = (len(targets), (until_on - first).days + 1)
    joint_reps, pain, morning = np.zeros(shape), np.full(shape, np.nan), np.full(shape, np.nan)
    for joint, side, day_on, reps, felt, felt_next_morning in rows:
        cell = row_of[f"{joint}:{side}"], (day_on - first).days
        joint_reps[cell] = reps
        pain[cell] = np.nan if felt is None else felt
        morning[cell] = np.nan if felt_next_morning is None else felt_next_morning
    return _Days(first, targets, joint_reps, pain, morning)


def _limits(targets: tuple[str, ...], injuries: Collection[Injury]) -> Floats:
    """The lowest limit that an injury of the site sets, else the general one."""
    limits = np.full(len(targets), float(DEFAULT_PAIN_LIMIT))
    for injury in injuries:
        if injury.pain_limit is not None and injury.target in targets:
            row = targets.index(injury.target)
            limits[row] = min(limits[row], injury.pain_limit)
    return limits


def _site(days: _Days, found: ToleratedExposure, row: int, until_on: date) -> ToleratedSite:
    joint, _, side = days.targets[row].partition(":")
    is_known = (days.joint_reps[row] > 0) | ~np.isnan(days.pain[row]) | ~np.isnan(days.next_morning[row])
    first_on = _day(int(is_known.argmax()), days.first) if is_known.any() else None
    counts = {
        "weeks": int(found.n_assessed[row]),
        "quiet_weeks": int(found.n_quiet[row]),
        "not_quiet_weeks": int(found.n_not_quiet[row]),
        "unknown_weeks": int(found.n_unknown[row]),
        "separate_quiet_weeks": int(found.n_separate_quiet[row]),
        "not_quiet_within_highest": int(found.n_not_quiet_within[row]),
    }
    highest_until_on = _day(int(found.highest_day[row]), days.first)
    return ToleratedSite(
        joint=joint,
        side=side,
        most_done=_number(found.most_done[row]),
        highest=_number(found.highest[row]),
        highest_until_on=highest_until_on,
        repeated=_number(found.repeated[row]),
        repeated_until_on=_day(int(found.repeated_day[row]), days.first),
        last_7_days=float(days.joint_reps[row, -WEEK:].sum()),
        first_on=first_on,
        days_of_history=0 if first_on is None else (until_on - first_on).days + 1,
        **counts,
        sentence=_sentence(days, found, row, highest_until_on),
    )


def _sentence(days: _Days, found: ToleratedExposure, row: int, highest_until_on: date | None) -> str:
    site = site_label(days.targets[row])
    weeks, unknown, against = found.n_assessed[row], found.n_unknown[row], found.n_not_quiet[row]
    if not days.joint_reps[row].any():
        return f"No history: no joint reps of the {site} are known in {HISTORY_DAYS} days."
    if weeks == 0:
        return f"Too little history: no week of the {site} has seven days after it yet."
    most = f"The most that the {site} has done in seven days is {found.most_done[row]:g} joint reps"
    if weeks == unknown:
        return f"{most}, but how any of its weeks felt is not known, so none can be called tolerated."
    if highest_until_on is None:
        return (
            f"{most}. None of its weeks was followed by a quiet one as far as is known: {against} of {weeks} "
            f"overlapping weeks were not, and of {unknown} it is not known."
        )
    return (
        f"Up to {found.highest[row]:g} joint reps a week of the {site} were followed by a quiet week (the "
        f"seven days to {highest_until_on}); {_more_than_once(found.repeated[row])}. Rests on "
        f"{found.n_separate_quiet[row]} quiet weeks without a day in common. Of {weeks} overlapping weeks "
        f"{against} were not followed by quiet ({found.n_not_quiet_within[row]} of these no higher), "
        f"{unknown} are not known. {NOT_A_PROMISE}"
    )


def _more_than_once(repeated: float) -> str:
    if isnan(repeated):
        return "nothing was followed by one more than once"
    return f"up to {repeated:g} more than once"


def _day(column: int, first: date) -> date | None:
    return None if column < 0 else first + timedelta(days=column)


def _number(value: float) -> float | None:
    return None if isnan(value) else float(value)
