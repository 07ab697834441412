"""What a site or a lift went through, week by week and exposure by exposure."""

import hashlib
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import isnan
from statistics import median
from typing import Any

from django.db.models import Count, F, QuerySet

from coaching.compute.trends import theil_sen
from coaching.models import (
    PAIN_KINDS,
    AlertKind,
    Exercise,
    InterventionNote,
    Joint,
    JointDay,
    LiftDay,
    PainReport,
    ScheduledSession,
    ScheduledStatus,
    Session,
)
from coaching.reads.alert_openings import AlertOpening, alert_openings
from coaching.reads.computed import Computed
from coaching.reads.lift_states import LiftState, newest_scores, state_of
from coaching.reads.rir_bias import StatedReserve, stated_reserve

WEEK = timedelta(days=7)
MIN_TREND_EXPOSURES = 4
LIFT_KINDS = [AlertKind.STALLED_LIFT, AlertKind.REGRESSING_LIFT]
SITE_WEEKS_METHOD = "sums_and_pain_of_iso_weeks"
LIFT_POINTS_METHOD = "epley_on_reps_and_reserve"
TREND_METHOD = "theil_sen"


@dataclass(frozen=True, slots=True)
class SiteKey:
    """One joint site of one client."""

    client_id: int
    joint: str
    side: str

    @property
    def target(self) -> str:
        return f"{self.joint}:{self.side}"


@dataclass(frozen=True, slots=True)
class SiteWeeks:
    """One entry per ISO week, oldest first; the newest ends with `until_on` and may be a part of a week.

    `pain_highest` and `pain_median` are over the days' pain (highest of during, after, next morning), None
    in a week without any; `reports` counts every report, whatever its moment. Alerts count until the day
    after `until_on`, since the night that has seen a day opens them on the next.
    """

    joint: str
    side: str
    until_on: date
    week_starts: tuple[date, ...]
    joint_reps: tuple[float, ...]
    joint_load_kg: tuple[float, ...]
    pain_highest: tuple[int | None, ...]
    pain_median: tuple[float | None, ...]
    reports: tuple[int, ...]
    is_deload: tuple[bool, ...]
    alert_openings: tuple[AlertOpening, ...]
    notes_on: tuple[date, ...]

    @property
    def computed(self) -> Computed:
        return Computed(SITE_WEEKS_METHOD, "1", self.week_starts[0], self.until_on)

    @property
    def is_empty(self) -> bool:
        has_pain = any(pain is not None for pain in self.pain_highest)
        return not any(self.joint_reps) and not any(self.reports) and not has_pain


@dataclass(frozen=True, slots=True)
class LiftPoint:
    """A lift's best of one day; no e1RM where no set of the day allows one."""

    day_on: date
    e1rm_kg: float | None
    best_load_kg: float | None
    best_reps: int | None
    best_rir: float | None
    is_deload: bool
    is_pain_limited: bool


@dataclass(frozen=True, slots=True)
class LiftTrend:
    """Theil-Sen line of e1RM with its 95 % limits; it runs through (`middle_week`, `middle_kg`).

    Weeks are counted from the history's `first_on`. Deloads and exposures that pain ended are left out.
    """

    first_on: date
    last_on: date
    exposures: int
    kg_per_week: float
    low_kg_per_week: float
    high_kg_per_week: float
    middle_week: float
    middle_kg: float

    @property
    def computed(self) -> Computed:
        return Computed(TREND_METHOD, "1", self.first_on, self.last_on)


@dataclass(frozen=True, slots=True)
class LiftHistory:
    exercise_code: str
    exercise_name: str
    side: str
    track: str
    first_on: date
    until_on: date
    points: tuple[LiftPoint, ...]
    trend: LiftTrend | None
    alert_openings: tuple[AlertOpening, ...] = ()
    night: LiftState | None = None  # what the newest night made of it; not looked up for a picture

    @property
    def target(self) -> str:
        return f"{self.exercise_code}:{self.side}:{self.track}"

    @property
    def computed(self) -> Computed:
        return Computed(LIFT_POINTS_METHOD, "1", self.first_on, self.until_on)


@dataclass(frozen=True, slots=True)
class ClientHistory:
    week_starts: tuple[date, ...]
    sites: tuple[SiteWeeks, ...]
    lifts: tuple[LiftHistory, ...]
    rir_bias: StatedReserve


@dataclass(frozen=True, slots=True)
class _Week:
    reps: float
    load_kg: float
    pains: tuple[int, ...]


_JointDay = Sequence[Any]
"""Joint reps, joint load and pain of a day; pain is None where none was reported."""


def weeks_until(until_on: date, weeks: int) -> tuple[date, ...]:
    """The Mondays of the last `weeks` ISO weeks, the one of `until_on` included."""
    newest = until_on - timedelta(days=until_on.weekday())
    return tuple(newest - WEEK * back for back in range(weeks - 1, -1, -1))


def site_weeks(
    client_id: int, joint: str, side: str, until_on: date, weeks: int = 16, *, with_private: bool = True
) -> SiteWeeks:
    """One site's weeks; without `with_private` the coach's unshared notes are left out."""
    key = SiteKey(client_id, joint, side)
    return sites_weeks([key], until_on, weeks, with_private=with_private)[key]


def sites_weeks(
    keys: Collection[SiteKey], until_on: date, weeks: int = 16, *, with_private: bool = True
) -> dict[SiteKey, SiteWeeks]:
    """The weeks of many sites, of one client or many, in the same few queries."""
    starts = weeks_until(until_on, weeks)
    weeks_of = _exposure_and_pain({key.client_id for key in keys}, (starts[0], until_on))
    return _sites_weeks(keys, weeks_of, starts, until_on, with_private=with_private)


def _sites_weeks(
    keys: Collection[SiteKey],
    weeks_of: Mapping[SiteKey, dict[date, _Week]],
    starts: tuple[date, ...],
    until_on: date,
    *,
    with_private: bool,
) -> dict[SiteKey, SiteWeeks]:
    days = (starts[0], until_on)
    client_ids = {key.client_id for key in keys}
    reports = _report_counts(client_ids, days)
    deloads = _deload_weeks(client_ids, days)
    openings = alert_openings(client_ids, {key.target for key in keys}, PAIN_KINDS, starts[0], until_on)
    notes = _notes(client_ids, days, with_private=with_private)
    found = {}
    for key in keys:
        opened = openings.get((key.client_id, key.target), [])
        of_client = deloads[key.client_id]
        found[key] = _site_weeks(
            key, until_on, starts, weeks_of.get(key, {}), reports[key], of_client, opened, notes[key]
        )
    return found


def lift_history(
    client_id: int, exercise_id: int, side: str, track: str, until_on: date, weeks: int = 16
) -> LiftHistory:
    """One lift's exposures, without points if the weeks hold none."""
    rows = _lift_days(client_id, until_on, weeks).filter(exercise_id=exercise_id, side=side, track=track)
    exercise = Exercise.objects.get(id=exercise_id)
    first_on = weeks_until(until_on, weeks)[0]
    points = tuple(LiftPoint(*row) for row in rows.values_list(*POINT_COLUMNS))
    found = _lift_history(exercise.code, exercise.name, side, track, points, first_on, until_on)
    return _with_alerts([found], client_id, first_on, until_on)[0]


def client_history(client_id: int, until_on: date, weeks: int, *, with_private: bool = True) -> ClientHistory:
    """Every site and every lift of a client that the weeks know; the number of queries is constant."""
    starts = weeks_until(until_on, weeks)
    weeks_of = _exposure_and_pain([client_id], (starts[0], until_on))
    keys = sorted(
        (key for key in weeks_of if key.joint != Joint.OTHER), key=lambda key: (key.joint, key.side)
    )
    found = _sites_weeks(keys, weeks_of, starts, until_on, with_private=with_private)
    lifts = _lift_histories(_lift_days(client_id, until_on, weeks), until_on, weeks)
    lifts = _with_alerts(_with_night(lifts, client_id, until_on), client_id, starts[0], until_on)
    return ClientHistory(
        starts, tuple(found[key] for key in keys), tuple(lifts), stated_reserve(client_id, until_on)
    )


def _with_night(lifts: list[LiftHistory], client_id: int, until_on: date) -> list[LiftHistory]:
    score = newest_scores([client_id], until_on + timedelta(days=1)).get(client_id)
    return [
        replace(
            lift,
            night=state_of(
                (lift.exercise_code, lift.side, lift.track),
                score,
                [point.day_on for point in lift.points if point.e1rm_kg is not None],
            ),
        )
        for lift in lifts
    ]


def _with_alerts(
    lifts: list[LiftHistory], client_id: int, first_on: date, until_on: date
) -> list[LiftHistory]:
    targets = {lift.target for lift in lifts}
    openings = alert_openings([client_id], targets, LIFT_KINDS, first_on, until_on)
    return [replace(lift, alert_openings=tuple(openings.get((client_id, lift.target), ()))) for lift in lifts]


def tag_of(history: object) -> str:
    """A digest of everything in a frozen dataclass: the same tag means the same history."""
    return hashlib.sha256(repr(history).encode()).hexdigest()[:32]


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _exposure_and_pain(
    client_ids: Collection[int], days: tuple[date, date]
) -> dict[SiteKey, dict[date, _Week]]:
    """Read as plain values: a year of one client has some thousand days of sites."""
    columns = ("client_id", "joint", "side", "day_on", "joint_reps", "joint_load_kg", "pain")
    rows = JointDay.objects.filter(client_id__in=client_ids, day_on__range=days).values_list(*columns)
    days_of: defaultdict[tuple[int, str, str], defaultdict[date, list[_JointDay]]]
    days_of = defaultdict(lambda: defaultdict(list))
    mondays: dict[date, date] = {}
    for client_id, joint, side, day_on, *amounts in rows:
        week = mondays.get(day_on) or mondays.setdefault(day_on, _monday(day_on))
        days_of[client_id, joint, side][week].append(amounts)
    return {
        SiteKey(*site): {week: _week(of_week) for week, of_week in weeks.items()}
        for site, weeks in days_of.items()
    }


def _week(days: Sequence[_JointDay]) -> _Week:
    return _Week(
        reps=sum(joint_reps for joint_reps, _, _ in days),
        load_kg=sum(joint_load_kg for _, joint_load_kg, _ in days),
        pains=tuple(pain for _, _, pain in days if pain is not None),
    )


def _report_counts(
    client_ids: Collection[int], days: tuple[date, date]
) -> defaultdict[SiteKey, defaultdict[date, int]]:
    rows = (
        PainReport.objects.filter(client_id__in=client_ids, felt_on__range=days)
        .values_list("client_id", "joint", "side", "felt_on")
        .annotate(reports=Count("id"))
    )
    found: defaultdict[SiteKey, defaultdict[date, int]] = defaultdict(lambda: defaultdict(int))
    for client_id, joint, side, felt_on, reports in rows:
        found[SiteKey(client_id, joint, side)][_monday(felt_on)] += reports
    return found


def _deload_weeks(client_ids: Collection[int], days: tuple[date, date]) -> defaultdict[int, set[date]]:
    """The weeks in which a session was done, or is planned, as a deload."""
    done = Session.objects.kept().filter(client_id__in=client_ids, performed_on__range=days, is_deload=True)
    planned = ScheduledSession.objects.filter(
        client_id__in=client_ids, due_on__range=days, is_deload=True
    ).exclude(status=ScheduledStatus.CANCELLED)
    found: defaultdict[int, set[date]] = defaultdict(set)
    days_of_deload = done.values_list("client_id", "performed_on").union(
        planned.values_list("client_id", "due_on")
    )
    for client_id, day in days_of_deload:
        found[client_id].add(_monday(day))
    return found


def _notes(
    client_ids: Collection[int], days: tuple[date, date], *, with_private: bool
) -> defaultdict[SiteKey, list[date]]:
    rows = InterventionNote.objects.filter(client_id__in=client_ids, noted_on__range=days)
    if not with_private:
        rows = rows.filter(is_shared=True)
    found: defaultdict[SiteKey, list[date]] = defaultdict(list)
    noted = rows.order_by("noted_on", "id").values_list("client_id", "joint", "side", "noted_on")
    for client_id, joint, side, noted_on in noted:
        found[SiteKey(client_id, joint, side)].append(noted_on)
    return found


def _site_weeks(
    key: SiteKey,
    until_on: date,
    starts: tuple[date, ...],
    found: dict[date, _Week],
    reports: defaultdict[date, int],
    deloads: set[date],
    openings: list[AlertOpening],
    notes_on: list[date],
) -> SiteWeeks:
    weeks = [found.get(start, _Week(0.0, 0.0, ())) for start in starts]
    return SiteWeeks(
        joint=key.joint,
        side=key.side,
        until_on=until_on,
        week_starts=starts,
        joint_reps=tuple(week.reps for week in weeks),
        joint_load_kg=tuple(week.load_kg for week in weeks),
        pain_highest=tuple(max(week.pains, default=None) for week in weeks),
        pain_median=tuple(float(median(week.pains)) if week.pains else None for week in weeks),
        reports=tuple(reports[start] for start in starts),
        is_deload=tuple(start in deloads for start in starts),
        alert_openings=tuple(openings),
        notes_on=tuple(notes_on),
    )


POINT_COLUMNS = (
    "day_on", "e1rm_kg", "best_load_kg", "best_reps", "best_rir", "is_deload", "is_pain_limited",
)  # fmt: skip
LIFT_COLUMNS = ("exercise__code", "exercise__name", "side", "track")


def _lift_days(client_id: int, until_on: date, weeks: int) -> QuerySet[LiftDay]:
    days = (weeks_until(until_on, weeks)[0], until_on)
    rows = LiftDay.objects.filter(client_id=client_id, day_on__range=days)
    return rows.order_by(F("exercise__code"), "side", "track", "day_on")


def _lift_histories(rows: QuerySet[LiftDay], until_on: date, weeks: int) -> list[LiftHistory]:
    lifts: dict[tuple[int, str, str], tuple[tuple[str, str, str, str], list[LiftPoint]]] = {}
    for exercise_id, *cells in rows.values_list("exercise_id", *LIFT_COLUMNS, *POINT_COLUMNS):
        code, name, side, track, *point = cells
        _, points = lifts.setdefault((exercise_id, side, track), ((code, name, side, track), []))
        points.append(LiftPoint(*point))
    first_on = weeks_until(until_on, weeks)[0]
    return [_lift_history(*named, tuple(points), first_on, until_on) for named, points in lifts.values()]


def _lift_history(
    code: str, name: str, side: str, track: str, points: tuple[LiftPoint, ...], first_on: date, until_on: date
) -> LiftHistory:
    return LiftHistory(
        exercise_code=code,
        exercise_name=name,
        side=side,
        track=track,
        first_on=first_on,
        until_on=until_on,
        points=points,
        trend=_trend(points, first_on),
    )


def _trend(points: tuple[LiftPoint, ...], first_on: date) -> LiftTrend | None:
    """The trend of the comparable exposures; None where they are too few for one with limits."""
    used = [
        (row.day_on, row.e1rm_kg)
        for row in points
        if row.e1rm_kg is not None and not row.is_deload and not row.is_pain_limited
    ]
    if len(used) < MIN_TREND_EXPOSURES:
        return None
    weeks = [(day - first_on).days / 7 for day, _ in used]
    e1rm_kg = [value for _, value in used]
    line = theil_sen(weeks, e1rm_kg)
    if isnan(line.low) or isnan(line.high):
        return None
    return LiftTrend(
        first_on=used[0][0],
        last_on=used[-1][0],
        exposures=len(used),
        kg_per_week=line.slope,
        low_kg_per_week=line.low,
        high_kg_per_week=line.high,
        middle_week=median(weeks),
        middle_kg=median(e1rm_kg),
    )
