"""From what was computed to what a coach reads: one finding per client, kind and target."""

from collections.abc import Iterator
from dataclasses import asdict
from datetime import date, timedelta
from typing import Any

import numpy as np

from coaching.compute import findings as numbers
from coaching.compute.adherence import AdherenceAssessments
from coaching.compute.asks import worth_asking
from coaching.compute.evidence import Numbers, sentence
from coaching.compute.over_dose import assess_over_dose
from coaching.compute.pain import (
    RECENT_MORNINGS_DAYS,
    USUAL_MORNINGS_DAYS,
    assess_settling,
    find_over_limit,
)
from coaching.compute.pain_trend import SiteAssessments
from coaching.compute.progress import REGRESSING, STALLED, LiftAssessments
from coaching.models import AlertKind
from coaching.operations.alerts import Finding
from coaching.reads.labels import lift_label, site_label
from coaching.reads.night_series import NightSeries, SiteKey

SEVERITY = {
    AlertKind.PAIN_LIMIT: 80,
    AlertKind.PAIN_WITH_VOLUME: 65,
    AlertKind.PAIN_UNSETTLED: 60,
    AlertKind.PAIN_RISING: 55,
    AlertKind.OVER_DOSE: 50,
    AlertKind.SILENT: 40,
    AlertKind.OFF_PLAN: 35,
    AlertKind.REGRESSING_LIFT: 30,
    AlertKind.STALLED_LIFT: 25,
    AlertKind.UNLOGGED: 15,
}
NEAR_LIMIT_ADDS = 10


def pain_findings(series: NightSeries, trends: SiteAssessments) -> Iterator[Finding]:
    """Pain that climbs (with or without its volume), has reached its limit, or does not settle."""
    sites, last_day = series.sites, series.last_day
    if not sites.keys:
        return
    days = sites.pain.shape[1]
    limits = find_over_limit(sites.pain, sites.pain_limit)
    settling = assess_settling(sites.pain_next_morning, sites.joint_reps)
    trend_method = f"{trends.method} {trends.version}"
    is_climbing = trends.is_pain_with_volume | trends.is_pain_rising
    is_told = is_climbing | limits.is_over_limit | settling.is_unsettled
    for row in np.flatnonzero(is_told).tolist():
        key = sites.keys[row]
        kind = AlertKind.PAIN_WITH_VOLUME if trends.is_pain_with_volume[row] else AlertKind.PAIN_RISING
        if is_climbing[row]:
            trend = numbers.describe_pain_trend(trends, row, last_day)
            is_near_limit = trend.pain_to >= sites.pain_limit[row] - 1
            yield _site_finding(
                series, key, kind, trend, trend_method, trend.pain_to, NEAR_LIMIT_ADDS * is_near_limit
            )
        if limits.is_over_limit[row]:
            limit = numbers.describe_pain_limit(limits, row, last_day, days)
            yield _site_finding(series, key, AlertKind.PAIN_LIMIT, limit, "hard_limit 1", limit.pain)
        if settling.is_unsettled[row]:
            mornings = numbers.describe_settling(settling, row, last_day, days)
            yield _site_finding(
                series, key, AlertKind.PAIN_UNSETTLED, mornings, "next_morning 1", mornings.newest_morning
            )


def over_dose_findings(series: NightSeries) -> Iterator[Finding]:
    """Guarded sites that did well more joint reps than were prescribed; without a plan there is no dose."""
    sites = series.sites
    if not sites.keys:
        return
    found = assess_over_dose(sites.joint_reps, sites.prescribed_joint_reps, sites.is_guarded)
    is_due = series.scheduled.due_day > series.last_day.toordinal() - found.days
    planned = set(series.scheduled.client[is_due].tolist())
    for row in np.flatnonzero(found.is_over_dose).tolist():
        key = sites.keys[row]
        if key.client in planned:
            dose = numbers.describe_over_dose(found, row)
            yield _site_finding(series, key, AlertKind.OVER_DOSE, dose, "over_dose 1")


def lift_findings(series: NightSeries, lifts: LiftAssessments) -> Iterator[Finding]:
    """Lifts that have stopped moving or have gone back."""
    kinds = {STALLED: AlertKind.STALLED_LIFT, REGRESSING: AlertKind.REGRESSING_LIFT}
    for row in np.flatnonzero(np.isin(lifts.state, list(kinds))).tolist():
        key = series.lifts.keys[row]
        yield _finding(
            series,
            key.client,
            kinds[str(lifts.state[row])],
            f"{key.code}:{key.side}:{key.track}",
            lift_label(key.name, key.side, key.track),
            numbers.describe_lift(lifts, row),
            f"{lifts.method} {lifts.version}",
        )


def adherence_findings(series: NightSeries, adherence: AdherenceAssessments) -> Iterator[Finding]:
    """Silence first; who is silent is not told to be off plan as well."""
    method = f"{adherence.method} {adherence.version}"
    is_told = adherence.is_silent | adherence.is_off_plan | adherence.is_unlogged
    for row in np.flatnonzero(is_told).tolist():
        if adherence.is_silent[row]:
            silence = numbers.describe_silence(adherence, row, float(series.days_since_activity[row]))
            yield _finding(series, row, AlertKind.SILENT, "", "", silence, method)
        else:
            kind = AlertKind.OFF_PLAN if adherence.is_off_plan[row] else AlertKind.UNLOGGED
            yield _finding(series, row, kind, "", "", numbers.describe_adherence(adherence, row), method)


def _site_finding(
    series: NightSeries,
    key: SiteKey,
    kind: AlertKind,
    found: Numbers,
    method: str,
    pain_level: float | None = None,
    severity_adds: int = 0,
) -> Finding:
    return _finding(
        series, key.client, kind, key.target, site_label(key.target), found, method, pain_level, severity_adds
    )


def _finding(
    series: NightSeries,
    client: int,
    kind: AlertKind,
    target: str,
    subject: str,
    found: Numbers,
    method: str,
    pain_level: float | None = None,
    severity_adds: int = 0,
) -> Finding:
    return Finding(
        client_id=series.clients[client].id,
        kind=kind,
        target=target,
        severity=SEVERITY[kind] + severity_adds,
        sentence=sentence(kind, subject, found),
        evidence=days_looked_at(found, series.last_day)
        | plain_numbers(found)
        | {"worth_asking": list(worth_asking(kind, subject, found))},
        method=method,
        pain_level=pain_level,
    )


def days_looked_at(found: Numbers, last_day: date) -> dict[str, str]:
    """The window of numbers that do not say it themselves."""
    match found:
        case numbers.PainTrendNumbers() | numbers.LiftNumbers():
            return {}
        case numbers.PainLimitNumbers():
            days = found.recent_days
        case numbers.SettlingNumbers():
            days = RECENT_MORNINGS_DAYS + USUAL_MORNINGS_DAYS
        case _:
            days = found.days
    return {"from_on": str(last_day - timedelta(days=days - 1)), "to_on": str(last_day)}


def plain_numbers(found: Numbers) -> dict[str, Any]:
    """The numbers as JSON keeps them: unknown is null, dates are text, digits beyond the fourth are noise.

    What is smaller keeps two digits, so that a small p value does not become 0.
    """
    return {name: _plain(value) for name, value in asdict(found).items()}


def _plain(value: Any) -> Any:
    if isinstance(value, date):
        return str(value)
    if isinstance(value, float):
        if np.isnan(value):
            return None
        return round(value, 4) if abs(value) >= 0.001 else float(f"{value:.2g}")
    return value
