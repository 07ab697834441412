"""How soon those who halve what they do are on the sheet, and how often those who do not."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coaching.bench.measures import Found, found_within, openings_per_year
from coaching.bench.schedules import (
    HALF_REPS,
    HALF_SETS,
    HALVINGS,
    HOLIDAY,
    LATE,
    N_DAYS,
    PLAN_KINDS,
    SKIPS,
    STEADY,
    UNLOGGED,
    WEEKDAYS,
    Schedules,
    as_known,
    days_since_log,
    generate_schedules,
)
from coaching.compute.adherence import assess_adherence
from coaching.compute.alert_life import follow_alerts
from coaching.compute.scheduled_sessions import DEFAULT_SETTINGS, AdherenceSettings
from coaching.models import AlertKind
from coaching.operations.alerts import CLOSES_AFTER_DAYS

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FOUND_WITHIN_DAYS = 10  # the night after the tenth day of the change is the last
KINDS_TOLD = (AlertKind.OFF_PLAN, AlertKind.UNLOGGED, AlertKind.SILENT)
TITLES = {
    STEADY: "steady, misses 10 to 20 %",
    LATE: "always a day late, misses none",
    HOLIDAY: "two weeks of holiday, said so",
    SKIPS: "every other session skipped, said so",
    UNLOGGED: "every other session not logged",
    HALF_SETS: "half the sets of each session",
    HALF_REPS: "half the reps of each set",
}


@dataclass(frozen=True, slots=True)
class AdherenceResult:
    """What became of the clients of one kind.

    Attributes:
        kind: one of PLAN_KINDS.
        found: on the sheet as off_plan or unlogged within ten days of the change, of those who were not on it
            before; None for quiet kinds.
        found_by_sessions_a_week: the same of those with two, three and four sessions a week.
        found_off_plan: the same as off_plan alone, and
        found_or_silent: as silent too.
        false_per_year: how often a client comes onto the sheet as off_plan or unlogged, per client and year;
            None where there is a change.
        off_plan_per_year: openings of off_plan alone.
    """

    kind: str
    found: Found | None
    found_by_sessions_a_week: Mapping[int, Found]
    found_off_plan: Found | None
    found_or_silent: Found | None
    false_per_year: float | None
    off_plan_per_year: float | None


def measure_adherence(
    n_clients: int, seed: int, settings: AdherenceSettings = DEFAULT_SETTINGS
) -> tuple[AdherenceResult, ...]:
    """Play the nights of every kind of client and see who is told when."""
    return tuple(_measure(generate_schedules(kind, n_clients, seed), settings) for kind in PLAN_KINDS)


def see_adherence_nights(schedules: Schedules, settings: AdherenceSettings) -> Mapping[AlertKind, Bools]:
    """Evidence of each kind of KINDS_TOLD, (n_clients, n_days); the night of day D in the column of D-1."""
    evidence = {kind: np.zeros((schedules.n_clients, N_DAYS), bool) for kind in KINDS_TOLD}
    for day in range(N_DAYS):
        found = assess_adherence(
            as_known(schedules.sessions, day, settings.score_days),
            n_clients=schedules.n_clients,
            as_of_day=day,
            days_since_post=days_since_log(schedules, day),
            settings=settings,
        )
        evidence[AlertKind.SILENT][:, day] = found.is_silent
        evidence[AlertKind.OFF_PLAN][:, day] = found.is_off_plan & ~found.is_silent
        evidence[AlertKind.UNLOGGED][:, day] = found.is_unlogged & ~found.is_silent
    return evidence


def _measure(schedules: Schedules, settings: AdherenceSettings) -> AdherenceResult:
    off_plan, unlogged, silent = (
        follow_alerts(found, patience_nights=max(CLOSES_AFTER_DAYS[kind], 1)).stands
        for kind, found in see_adherence_nights(schedules, settings).items()
    )
    is_changed = schedules.kind in HALVINGS

    def found(stands: Bools) -> Found | None:
        return _found(stands, schedules.change_day) if is_changed else None

    def found_at(sessions_a_week: int) -> Found:
        is_chosen = schedules.sessions_a_week == sessions_a_week
        return _found((off_plan | unlogged)[is_chosen], schedules.change_day[is_chosen])

    def per_year(stands: Bools) -> float | None:
        return None if is_changed else openings_per_year(_appears(stands))

    return AdherenceResult(
        kind=schedules.kind,
        found=found(off_plan | unlogged),
        found_by_sessions_a_week={len(days): found_at(len(days)) for days in WEEKDAYS} if is_changed else {},
        found_off_plan=found(off_plan),
        found_or_silent=found(off_plan | unlogged | silent),
        false_per_year=per_year(off_plan | unlogged),
        off_plan_per_year=per_year(off_plan),
    )


def _appears(stands: Bools) -> Bools:
    """Nights on which a client comes onto the sheet."""
    return stands & ~np.pad(stands[:, :-1], ((0, 0), (1, 0)))


def _found(stands: Bools, change_day: Floats) -> Found:
    was_on = stands[np.arange(len(stands)), change_day.astype(int) - 1]
    if was_on.all():
        return Found(float("nan"), float("nan"))
    return found_within(_appears(stands[~was_on]), change_day[~was_on], FOUND_WITHIN_DAYS)
