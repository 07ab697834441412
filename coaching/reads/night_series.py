"""What a night looks at: the rows of a chunk of clients, in a constant number of queries, as arrays."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from coaching.compute.pain import DEFAULT_PAIN_LIMIT
from coaching.compute.scheduled_sessions import DEFAULT_SETTINGS, ScheduledSessions
from coaching.models import (
    Client,
    Injury,
    JointDay,
    LiftDay,
    PainReport,
    ScheduledSession,
    Session,
)
from coaching.reads.adherence import EXCUSED, scheduled_against_logs

WINDOW_DAYS = 112
Floats = NDArray[np.float64]
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
    first_activity_day: Floats


def night_series(*, clients: Sequence[Client], night_on: date) -> NightSeries:
    """Read what is known up to the day before `night_on`, whenever it arrived."""
    last_day = night_on - timedelta(days=1)
    index = {client.id: position for position, client in enumerate(clients)}
    scheduled_rows = _scheduled_rows(index, last_day)
    last_active, first_active = _activity(index, last_day)
    return NightSeries(
        clients=tuple(clients),
        last_day=last_day,
        sites=_site_series(clients, index, last_day, scheduled_rows),
        lifts=_lift_series(clients, index, last_day),
        scheduled=scheduled_against_logs(
            scheduled_rows,
            client_rows=index,
            last_day=last_day,
            in_full_from=last_day - timedelta(days=DEFAULT_SETTINGS.score_days - 1),
        ),
        days_since_activity=last_day.toordinal() - last_active,
        first_activity_day=first_active,
    )


def _scheduled_rows(index: dict[int, int], last_day: date) -> list[ScheduledSession]:
    rows = ScheduledSession.objects.filter(
        client_id__in=index,
        due_on__gt=last_day - timedelta(days=WINDOW_DAYS),
        due_on__lte=last_day,
    )
    return list(rows)


def _site_series(
    clients: Sequence[Client], index: dict[int, int], last_day: date, scheduled: Sequence[ScheduledSession]
) -> SiteSeries:
    rows = JointDay.objects.filter(
        client_id__in=index, day_on__gt=last_day - timedelta(days=WINDOW_DAYS), day_on__lte=last_day
    ).values_list("client_id", "joint", "side", "day_on", "joint_reps", "pain", "pain_next_morning")
    cells = [
        (SiteKey(index[client], f"{joint}:{side}"), _column(day, last_day), reps, pain, morning)
        for client, joint, side, day, reps, pain, morning in rows
    ]
    keys = sorted({key for key, *_ in cells}, key=lambda key: (key.client, key.target))
    row_of = {key: position for position, key in enumerate(keys)}
    shape = (len(keys), WINDOW_DAYS)
    pain_days, morning_days, reps_days = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape)
    for key, column, reps, pain, morning in cells:
        row = row_of[key]
        reps_days[row, column] = reps
        pain_days[row, column] = np.nan if pain is None else pain
        morning_days[row, column] = np.nan if morning is None else morning
    prescribed, is_deload = _prescribed(row_of, shape, index, scheduled, last_day)
    limits, is_guarded = _guards(row_of, index)
    return SiteSeries(
        tuple(keys), pain_days, morning_days, reps_days, prescribed, is_deload, limits, is_guarded
    )


def _column(day: date, last_day: date) -> int:
    return WINDOW_DAYS - 1 - (last_day - day).days


def _prescribed(
    row_of: dict[SiteKey, int],
    shape: tuple[int, int],
    index: dict[int, int],
    scheduled: Sequence[ScheduledSession],
    last_day: date,
) -> tuple[Floats, Bools]:
    """Prescribed joint reps on the day they were due, and the days of weeks that the plan marks as deload."""
    prescribed = np.zeros(shape)
    is_deload = np.zeros(shape, bool)
    rows_of_client: defaultdict[int, list[int]] = defaultdict(list)
    for key, row in row_of.items():
        rows_of_client[key.client].append(row)
    for session in scheduled:
        client = index[session.client_id]
        column = _column(session.due_on, last_day)
        for target, reps in session.prescribed_joint_reps.items():
            target_row = row_of.get(SiteKey(client, target))
            if target_row is not None and session.status not in EXCUSED:
                prescribed[target_row, column] += reps
        if session.is_deload:
            monday = column - session.due_on.weekday()
            is_deload[rows_of_client[client], max(monday, 0) : monday + 7] = True
    return prescribed, is_deload


def _guards(row_of: dict[SiteKey, int], index: dict[int, int]) -> tuple[Floats, Bools]:
    limits = np.full(len(row_of), float(DEFAULT_PAIN_LIMIT))
    is_guarded = np.zeros(len(row_of), bool)
    for injury in Injury.objects.filter(client_id__in=index).guarding():
        row = row_of.get(SiteKey(index[injury.client_id], injury.target))
        if row is not None:
            is_guarded[row] = True
            limits[row] = min(limits[row], injury.pain_limit or limits[row])
    return limits, is_guarded


def _lift_series(clients: Sequence[Client], index: dict[int, int], last_day: date) -> LiftSeries:
    """Exposures with a valid e1RM; those limited by pain or in a deload stay, marked as not comparable."""
    exposures: defaultdict[LiftKey, list[tuple[int, float, bool]]] = defaultdict(list)
    steps: dict[LiftKey, float] = {}
    rows = (
        LiftDay.objects.filter(
            client_id__in=index,
            day_on__gt=last_day - timedelta(days=WINDOW_DAYS),
            day_on__lte=last_day,
            e1rm_kg__isnull=False,
        )
        .order_by("day_on")
        .values_list(
            "client_id", "exercise_id", "exercise__code", "exercise__name", "side", "track", "day_on",
            "e1rm_kg", "is_pain_limited", "is_deload", "exercise__load_step_thousandths",
        )
    )  # fmt: skip
    for client, exercise, code, name, side, track, day, e1rm_kg, is_limited, is_deload, step in rows:
        key = LiftKey(index[client], exercise, code, name, side, track)
        exposures[key].append((day.toordinal(), e1rm_kg or np.nan, not (is_limited or is_deload)))
        steps[key] = step / 1000
    keys = tuple(exposures)
    width = max((len(found) for found in exposures.values()), default=0)
    shape = (len(keys), width)
    days, e1rms, is_comparable = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape, bool)
    for row, key in enumerate(keys):
        found = exposures[key]
        days[row, : len(found)] = [day for day, _, _ in found]
        e1rms[row, : len(found)] = [e1rm_kg for _, e1rm_kg, _ in found]
        is_comparable[row, : len(found)] = [is_fair for _, _, is_fair in found]
    return LiftSeries(
        keys=keys,
        day=days,
        e1rm_kg=e1rms,
        is_comparable=is_comparable,
        increment_kg=np.array([steps[key] for key in keys], dtype=float),
        training_status=np.array([clients[key.client].training_status for key in keys], dtype=np.str_),
    )


def _activity(index: dict[int, int], last_day: date) -> tuple[Floats, Floats]:
    """Ordinals of the last and first day on which each client did or felt something; nan where never."""
    last, first = np.full(len(index), np.nan), np.full(len(index), np.nan)
    sessions = Session.objects.filter(
        client_id__in=index, performed_on__lte=last_day, deleted_at__isnull=True
    )
    reports = PainReport.objects.filter(client_id__in=index, felt_on__lte=last_day)
    pairs = [
        *sessions.values_list("client_id", "performed_on").distinct(),
        *reports.values_list("client_id", "felt_on").distinct(),
    ]
    for client_id, day in pairs:
        row = index[client_id]
        last[row] = np.fmax(last[row], day.toordinal())
        first[row] = np.fmin(first[row], day.toordinal())
    return last, first
