"""Scoring a chunk of clients for one night: read, compute, save scores, bring alerts to what was found."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import isnan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coaching.compute.adherence import AdherenceAssessments, assess_adherence
from coaching.compute.adherence_parts import PartScores, score_parts
from coaching.compute.lift_wait import assessable_night
from coaching.compute.pain_trend import SiteAssessments, assess_sites
from coaching.compute.progress import NOT_ASSESSABLE, LiftAssessments, assess_lifts
from coaching.models import AlertKind, NightClient, Score
from coaching.models.statements import insert_rows
from coaching.operations.alerts import Finding, apply_findings
from coaching.operations.findings import (
    adherence_findings,
    lift_findings,
    over_dose_findings,
    pain_findings,
)
from coaching.reads.night_series import LiftKey, NightSeries, SiteKey, night_series

METHOD = "night 3"
NIGHTLY_KINDS = [kind for kind in AlertKind.values if kind != AlertKind.RED_FLAG]


@dataclass(frozen=True, slots=True)
class ChunkResult:
    clients: int = 0
    opened: int = 0
    updated: int = 0
    closed: int = 0

    def plus(self, other: "ChunkResult") -> "ChunkResult":
        return ChunkResult(
            self.clients + other.clients,
            self.opened + other.opened,
            self.updated + other.updated,
            self.closed + other.closed,
        )


@dataclass(frozen=True, slots=True)
class _Assessed:
    """What a night makes of its clients, before anything is written."""

    series: NightSeries
    adherence: AdherenceAssessments
    lifts: LiftAssessments
    trends: SiteAssessments


def score_chunk(
    *, items: Sequence[NightClient], night_on: date, now: datetime, touches_alerts: bool = True
) -> ChunkResult:
    """Score these clients for `night_on`; a re-score of an older night leaves the alerts alone."""
    if not items:
        return ChunkResult()
    assessed = _assess(items, night_on)
    insert_rows(_scores(items, assessed, night_on, now), but_those_there=True)
    if not touches_alerts:
        return ChunkResult(len(items))
    findings: list[Finding] = [
        *pain_findings(assessed.series, assessed.trends),
        *lift_findings(assessed.series, assessed.lifts),
        *adherence_findings(assessed.series, assessed.adherence),
        *over_dose_findings(assessed.series),
    ]
    changes = apply_findings(
        practice_id=items[0].practice_id,
        client_ids=[item.client_id for item in items],
        findings=findings,
        kinds=NIGHTLY_KINDS,
        on=night_on,
        now=now,
    )
    return ChunkResult(len(items), len(changes.opened), changes.updated, changes.closed)


def scores_of(*, items: Sequence[NightClient], night_on: date, now: datetime) -> list[Score]:
    """The scores that these clients would get for `night_on` today, not saved."""
    return _scores(items, _assess(items, night_on), night_on, now) if items else []


def _assess(items: Sequence[NightClient], night_on: date) -> _Assessed:
    series = night_series(clients=[item.client for item in items], night_on=night_on)
    adherence = assess_adherence(
        series.scheduled,
        n_clients=len(items),
        as_of_day=series.last_day.toordinal(),
        days_since_post=series.days_since_activity,
    )
    return _Assessed(
        series,
        adherence,
        lifts=_assess_lifts(series, adherence),
        trends=assess_sites(
            series.sites.pain, series.sites.joint_reps, is_planned_deload=series.sites.is_deload
        ),
    )


def _assess_lifts(series: NightSeries, adherence: AdherenceAssessments) -> LiftAssessments:
    lifts = series.lifts
    return assess_lifts(
        lifts.day,
        lifts.e1rm_kg,
        lifts.is_comparable,
        lifts.training_status,
        as_of_day=float(series.last_day.toordinal()),
        increment_kg=lifts.increment_kg,
        attendance=adherence.attendance_high[_clients_of(lifts.keys)],
    )


def _scores(items: Sequence[NightClient], assessed: _Assessed, night_on: date, now: datetime) -> list[Score]:
    series, adherence = assessed.series, assessed.adherence
    found_of_lifts = _lift_details(series, assessed.lifts, len(items))
    tests_run = _tests_run(series, assessed.trends, assessed.lifts, len(items))
    parts = score_parts(series.scheduled, n_clients=len(items), as_of_day=series.last_day.toordinal())
    return [
        Score(
            practice_id=item.practice_id,
            client_id=item.client_id,
            night_on=night_on,
            revision=item.revision,
            adherence_low=_number(adherence.score_low[row]),
            adherence_high=_number(adherence.score_high[row]),
            sessions_due=int(adherence.n_counted[row]),
            sessions_done=int(adherence.n_done[row]),
            sessions_unknown=int(adherence.n_unknown[row]),
            details={
                "lifts": found_of_lifts[row],
                "adherence": _adherence_details(adherence, parts, row),
                "tests_run": tests_run[row],
            },
            method=METHOD,
            scored_at=now,
        )
        for row, item in enumerate(items)
    ]


def _adherence_details(adherence: AdherenceAssessments, parts: PartScores, row: int) -> dict[str, Any]:
    """Adherence taken apart; shares are of what was prescribed, and None where nothing is known."""
    return {
        "attended_low": _number(adherence.attendance_low[row]),
        "attended_high": _number(adherence.attendance_high[row]),
        "sets_low": _number(parts.sets_low[row]),
        "sets_high": _number(parts.sets_high[row]),
        "reps_low": _number(parts.reps_low[row]),
        "reps_high": _number(parts.reps_high[row]),
        "load": _number(parts.load[row]),
        "effort": _number(parts.effort[row]),
        "dose_ratio": _number(adherence.dose_ratio[row]),
        "modified": int(parts.n_modified[row]),
        "over": int(parts.n_over[row]),
        "late": int(adherence.n_late[row]),
        "missed_spells": int(adherence.n_missed_spells[row]),
        "interrupted_spells": int(adherence.n_interrupted_spells[row]),
        "excused": int(adherence.n_excused[row]),
        "method": f"{adherence.method} {adherence.version}",
    }


def _tests_run(
    series: NightSeries, trends: SiteAssessments, lifts: LiftAssessments, n_clients: int
) -> list[int]:
    """How many sites and lifts of each client could be looked at for a trend."""
    sites = _clients_of(series.sites.keys)[trends.is_assessable]
    of_lifts = _clients_of(series.lifts.keys)[lifts.state != NOT_ASSESSABLE]
    counts: list[int] = np.bincount(np.append(sites, of_lifts), minlength=n_clients).tolist()
    return counts


def _clients_of(keys: Sequence[SiteKey | LiftKey]) -> NDArray[np.int64]:
    return np.array([key.client for key in keys], dtype=np.int64)


def _lift_details(series: NightSeries, lifts: LiftAssessments, n_clients: int) -> list[list[dict[str, Any]]]:
    """What each client's lifts came to, with the reason and the wait where nothing can be said yet."""
    found: list[list[dict[str, Any]]] = [[] for _ in range(n_clients)]
    method = f"{lifts.method} {lifts.version}"
    numbers = zip(
        lifts.state.tolist(), lifts.reason.tolist(), lifts.n_exposures.tolist(),
        lifts.exposures_to_go.tolist(), lifts.days_to_go.tolist(), _numbers(lifts.slope_per_week),
        _numbers(lifts.slope_low_per_week), _numbers(lifts.slope_high_per_week), strict=True,
    )  # fmt: skip
    for row, (key, (state, reason, exposures, to_go, days_to_go, slope, low, high)) in enumerate(
        zip(series.lifts.keys, numbers, strict=True)
    ):
        found[key.client].append(
            {
                "exercise": key.code,
                "side": key.side,
                "track": key.track,
                "state": state,
                "reason": reason,
                "exposures": exposures,
                "exposures_to_go": to_go,
                "days_to_go": days_to_go,
                "assessable_on": _assessable_on(series, lifts, row) if state == NOT_ASSESSABLE else None,
                "slope_per_week": slope,
                "slope_low_per_week": low,
                "slope_high_per_week": high,
                "method": method,
            }
        )
    return found


def _assessable_on(series: NightSeries, lifts: LiftAssessments, row: int) -> str | None:
    night = assessable_night(lifts, row, series.last_day.toordinal())
    return None if night is None else str(date.fromordinal(night))


def _number(value: float) -> float | None:
    """A number as JSON knows it: what is not known is null, and digits beyond the sixth are noise."""
    return None if isnan(value) else round(float(value), 6)


def _numbers(values: NDArray[np.float64]) -> list[float | None]:
    return [_number(value) for value in values.tolist()]
