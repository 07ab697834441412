"""What a night looks at: the rows of a chunk of clients, in a constant number of queries, as arrays."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db.models import OuterRef, QuerySet, Subquery, TextField
from django.db.models.functions import Cast, Coalesce
from numpy.typing import NDArray

from coaching.compute import over_dose
from coaching.compute.pain import DEFAULT_PAIN_LIMIT
from coaching.compute.scheduled_sessions import DEFAULT_SETTINGS, ScheduledSessions
from coaching.models import (
    Client,
    Exercise,
    Injury,
    JointDay,
    LiftDay,
    PainReport,
    ScheduledSession,
    Session,
    SetSide,
)
from coaching.models.base import Joint, SiteSide
from coaching.reads.adherence import rows_against_logs
from coaching.reads.columns import Small, code_of, columns, numbered, packed, places_of, unpacked
from coaching.reads.scheduled_rows import EXCUSED, ScheduledRows

WINDOW_DAYS = 112
DOSE_DAYS = over_dose.DEFAULT_SETTINGS.days
SITES = [f"{joint}:{side}" for joint in Joint.values for side in SiteSide.values]
UNSAID, PAINS = -1, 12  # what stands for null on the way from the database; 0 to 10, and that
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class SiteKey:
    """Which client (by index in the chunk) and which site a row of the site arrays belongs to."""

    client: int
    target: str


@dataclass(frozen=True, slots=True)
class SiteSeries:
    """Daily series of each client and site; columns are local days, the newest last."""

    keys: tuple[SiteKey, ...]
    pain: Floats
    pain_next_morning: Floats
    joint_reps: Floats
    prescribed_joint_reps: Floats
    is_deload: Bools
    pain_limit: Floats
    is_guarded: Bools


@dataclass(frozen=True, slots=True)
class LiftKey:
    client: int
    exercise_id: int
    code: str
    name: str
    side: str
    track: str


@dataclass(frozen=True, slots=True)
class LiftSeries:
    """Exposures of each lift, oldest first, padded with nan; days are ordinals."""

    keys: tuple[LiftKey, ...]
    day: Floats
    e1rm_kg: Floats
    is_comparable: Bools
    increment_kg: Floats
    training_status: NDArray[np.str_]


@dataclass(frozen=True, slots=True)
class NightSeries:
    """Everything that the night of one date may see of a chunk of clients."""

    clients: tuple[Client, ...]
    last_day: date
    sites: SiteSeries
    lifts: LiftSeries
    scheduled: ScheduledSessions
    days_since_activity: Floats


def night_series(*, clients: Sequence[Client], night_on: date) -> NightSeries:
    """Read what is known up to the day before `night_on`, whenever it arrived."""
    last_day = night_on - timedelta(days=1)
    index = {client.id: position for position, client in enumerate(clients)}
    due = ScheduledSession.objects.filter(client_id__any_of=index, due_on__lte=last_day)
    scored = due.filter(due_on__gt=last_day - timedelta(days=DEFAULT_SETTINGS.score_days))
    return NightSeries(
        clients=tuple(clients),
        last_day=last_day,
        sites=_site_series(index, last_day, due),
        lifts=_lift_series(clients, index, last_day),
        scheduled=rows_against_logs(ScheduledRows.read(scored), client_rows=index, last_day=last_day),
        days_since_activity=last_day.toordinal() - _last_active(index, last_day),
    )


@dataclass(frozen=True, slots=True)
class _SiteRows:
    """Which row of the site arrays each client and site has; -1 where it has none."""

    keys: tuple[SiteKey, ...]
    row_of: Ints  # (n_clients, n_sites)

    @classmethod
    def of(cls, n_clients: int, client: Ints, site: Ints) -> "_SiteRows":
        is_there = np.zeros((n_clients, len(SITES)), bool)
        is_there[client, site] = True
        found = [(int(row), int(column)) for row, column in np.argwhere(is_there)]
        row_of = np.full(is_there.shape, -1)
        row_of[is_there] = np.arange(len(found))
        return cls(tuple(SiteKey(row, SITES[column]) for row, column in found), row_of)


def _site_series(index: Mapping[int, int], last_day: date, due: QuerySet[ScheduledSession]) -> SiteSeries:
    days = JointDay.objects.filter(
        client_id__any_of=index, day_on__gt=last_day - timedelta(days=WINDOW_DAYS), day_on__lte=last_day
    )
    told = packed(
        code_of("joint", Joint.values),
        (code_of("side", SiteSide.values), len(SiteSide)),
        (Coalesce("pain", UNSAID) - UNSAID, PAINS),
        (Coalesce("pain_next_morning", UNSAID) - UNSAID, PAINS),
    )
    client_id, day, reps, codes = columns(
        days.annotate(told=told), client_id=int, day_on=date, joint_reps=float, told=Small
    )
    joint, side, pain, morning = unpacked(codes, len(SiteSide), PAINS, PAINS)
    client, site = places_of(client_id, index), joint * len(SiteSide) + side
    rows = _SiteRows.of(len(index), client, site)
    cells = rows.row_of[client, site], _column(day, last_day)
    shape = (len(rows.keys), WINDOW_DAYS)
    pain_days, morning_days, reps_days = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape)
    reps_days[cells] = reps
    pain_days[cells] = np.where(pain == 0, np.nan, pain + UNSAID)
    morning_days[cells] = np.where(morning == 0, np.nan, morning + UNSAID)
    limits, is_guarded = _guards(rows, index)
    return SiteSeries(
        keys=rows.keys,
        pain=pain_days,
        pain_next_morning=morning_days,
        joint_reps=reps_days,
        prescribed_joint_reps=_prescribed(rows, index, last_day, due),
        is_deload=_deloads(rows, index, last_day, due),
        pain_limit=limits,
        is_guarded=is_guarded,
    )


def _column(day: Ints, last_day: date) -> Ints:
    return WINDOW_DAYS - 1 - (last_day.toordinal() - day)


def _prescribed(
    rows: _SiteRows, index: Mapping[int, int], last_day: date, due: QuerySet[ScheduledSession]
) -> Floats:
    """Prescribed joint reps on the day they were due, over the days that a dose is held against."""
    prescribed = np.zeros((len(rows.keys), WINDOW_DAYS))
    recent = due.exclude(status__in=EXCUSED).filter(due_on__gt=last_day - timedelta(days=DOSE_DAYS))
    texts = recent.annotate(as_text=Cast("prescribed_joint_reps", TextField()))
    client_id, day, text = columns(texts, client_id=int, due_on=date, as_text=str)
    number, distinct = numbered(text)
    asked = np.array([_by_site(each) for each in distinct]).reshape(-1, len(SITES))
    row = rows.row_of[places_of(client_id, index)]
    session, site = np.nonzero((asked[number] > 0) & (row >= 0))
    cells = row[session, site], _column(day, last_day)[session]
    np.add.at(prescribed, cells, asked[number][session, site])
    return prescribed


def _by_site(text: str) -> list[float]:
    reps = json.loads(text)
    return [reps.get(site, 0.0) for site in SITES]


def _deloads(
    rows: _SiteRows, index: Mapping[int, int], last_day: date, due: QuerySet[ScheduledSession]
) -> Bools:
    """The days of weeks that the plan marks as deload, for all of the client's sites."""
    is_deload = np.zeros((len(rows.keys), WINDOW_DAYS), bool)
    light = due.filter(due_on__gt=last_day - timedelta(days=WINDOW_DAYS), is_deload=True)
    client_id, day = columns(light.distinct(), client_id=int, due_on=date)
    client_of_row = np.array([key.client for key in rows.keys], dtype=np.int64)
    client, monday = places_of(client_id, index), day - (day - 1) % 7
    is_light = np.zeros((len(index), WINDOW_DAYS), bool)
    for after in range(7):
        column = _column(monday + after, last_day)
        is_seen = (column >= 0) & (column < WINDOW_DAYS)
        is_light[client[is_seen], column[is_seen]] = True
    is_deload[:] = is_light[client_of_row]
    return is_deload


def _guards(rows: _SiteRows, index: Mapping[int, int]) -> tuple[Floats, Bools]:
    limits = np.full(len(rows.keys), float(DEFAULT_PAIN_LIMIT))
    is_guarded = np.zeros(len(rows.keys), bool)
    for injury in Injury.objects.filter(client_id__any_of=index).guarding():
        row = rows.row_of[index[injury.client_id], SITES.index(injury.target)]
        if row >= 0:
            is_guarded[row] = True
            limits[row] = min(limits[row], injury.pain_limit or limits[row])
    return limits, is_guarded


def _lift_series(clients: Sequence[Client], index: Mapping[int, int], last_day: date) -> LiftSeries:
    """Exposures with a valid e1RM; those limited by pain or in a deload stay, marked as not comparable."""
    rows = LiftDay.objects.filter(
        client_id__any_of=index,
        day_on__gt=last_day - timedelta(days=WINDOW_DAYS),
        day_on__lte=last_day,
        e1rm_kg__isnull=False,
    )
    client_id, exercise, side, track, day, e1rm_kg, is_limited, is_deload = columns(
        rows.annotate(side_code=code_of("side", SetSide.values)),
        client_id=int, exercise_id=int, side_code=Small, track=str, day_on=date, e1rm_kg=float,
        is_pain_limited=bool, is_deload=bool,
    )  # fmt: skip
    number, tracks = numbered(track)
    parts = (places_of(client_id, index), exercise, side, number)
    order = np.lexsort((day, *reversed(parts)))
    client, exercise, side, number = (part[order] for part in parts)
    is_first = np.ones(len(order), bool)
    is_first[1:] = np.any([part[1:] != part[:-1] for part in (client, exercise, side, number)], axis=0)
    begins = np.flatnonzero(is_first)
    row = np.cumsum(is_first) - 1
    place = np.arange(len(order)) - begins[row]
    shape = (len(begins), int(place.max(initial=-1)) + 1)
    days, e1rms, is_comparable = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape, bool)
    days[row, place] = day[order]
    e1rms[row, place] = np.where(e1rm_kg == 0, np.nan, e1rm_kg)[order]
    is_comparable[row, place] = ~(is_limited | is_deload)[order]
    known, sides = Exercise.objects.in_bulk(set(exercise[begins].tolist())), SetSide.values
    keys = tuple(
        LiftKey(own, lift, known[lift].code, known[lift].name, sides[side_code], tracks[track_code])
        for own, lift, side_code, track_code in zip(
            *(part[begins].tolist() for part in (client, exercise, side, number)), strict=True
        )
    )
    return LiftSeries(
        keys=keys,
        day=days,
        e1rm_kg=e1rms,
        is_comparable=is_comparable,
        increment_kg=np.array([known[key.exercise_id].load_step_thousandths / 1000 for key in keys], float),
        training_status=np.array([clients[key.client].training_status for key in keys], dtype=np.str_),
    )


def _last_active(index: Mapping[int, int], last_day: date) -> Floats:
    """Ordinal of the last day on which each client did or felt something; nan where never."""
    did = Session.objects.kept().filter(client=OuterRef("pk"), performed_on__lte=last_day)
    felt = PainReport.objects.filter(client=OuterRef("pk"), felt_on__lte=last_day)
    newest = Client.objects.filter(id__any_of=index).values_list(
        "id",
        Subquery(did.order_by("-performed_on").values("performed_on")[:1]),
        Subquery(felt.order_by("-felt_on").values("felt_on")[:1]),
    )
    last = np.full(len(index), np.nan)
    for client_id, did_on, felt_on in newest:
        days = [day.toordinal() for day in (did_on, felt_on) if day is not None]
        last[index[client_id]] = max(days, default=np.nan)
    return last
