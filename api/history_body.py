"""A client's history as JSON, by hand: what `HistoryOut` says, without a field object for each value.

`tests/api/test_hot_bodies.py` holds the two against each other.
"""

from collections.abc import Iterable
from typing import Any

from api.plain import computed_body, day_or_none
from coaching.reads.adherence_weeks import AdherenceWeek, AdherenceWeeks, WholeHistory
from coaching.reads.alert_openings import AlertOpening
from coaching.reads.history import LiftHistory, LiftPoint, LiftTrend, SiteWeeks
from coaching.reads.rir_bias import StatedReserve


def history_body(whole: WholeHistory) -> dict[str, Any]:
    history = whole.history
    return {
        "weeks": [day.isoformat() for day in history.week_starts],
        "sites": [_site(site) for site in history.sites],
        "lifts": [_lift(lift) for lift in history.lifts],
        "rir_bias": _rir_bias(history.rir_bias),
        "adherence": _adherence(whole.adherence),
    }


def _openings(openings: Iterable[AlertOpening]) -> list[dict[str, Any]]:
    return [{"opened_on": each.opened_on.isoformat(), "kind": each.kind} for each in openings]


def _site(site: SiteWeeks) -> dict[str, Any]:
    return {
        "computed": computed_body(site.computed),
        "joint": site.joint,
        "side": site.side,
        "joint_reps": [float(reps) for reps in site.joint_reps],
        "joint_load_kg": [float(load_kg) for load_kg in site.joint_load_kg],
        "pain_highest": list(site.pain_highest),
        "pain_median": list(site.pain_median),
        "reports": list(site.reports),
        "is_deload": list(site.is_deload),
        "alerts": _openings(site.alert_openings),
        "notes_on": [day.isoformat() for day in site.notes_on],
    }


def _lift(lift: LiftHistory) -> dict[str, Any]:
    night = lift.night
    assert night is not None  # noqa: S101 - looked up for every history  # nosec B101
    return {
        "exercise": lift.exercise_code,
        "exercise_name": lift.exercise_name,
        "side": lift.side,
        "track": lift.track,
        "state": night.state,
        "reason": night.reason,
        "reason_text": night.reason_text,
        "assessable_on": day_or_none(night.assessable_on),
        "state_computed": None if night.computed is None else computed_body(night.computed),
        "computed": computed_body(lift.computed),
        "alerts": _openings(lift.alert_openings),
        "points": [_point(point) for point in lift.points],
        "trend": None if lift.trend is None else _trend(lift.trend),
    }


def _point(point: LiftPoint) -> dict[str, Any]:
    return {
        "day_on": point.day_on.isoformat(),
        "e1rm_kg": point.e1rm_kg,
        "best_load_kg": point.best_load_kg,
        "best_reps": point.best_reps,
        "best_rir": point.best_rir,
        "is_deload": point.is_deload,
        "is_pain_limited": point.is_pain_limited,
    }


def _trend(trend: LiftTrend) -> dict[str, Any]:
    return {
        "exposures": trend.exposures,
        "kg_per_week": float(trend.kg_per_week),
        "low_kg_per_week": float(trend.low_kg_per_week),
        "high_kg_per_week": float(trend.high_kg_per_week),
        "computed": computed_body(trend.computed),
    }


def _rir_bias(bias: StatedReserve) -> dict[str, Any]:
    return {
        "mean_reps": bias.mean_reps,
        "low_reps": bias.low_reps,
        "high_reps": bias.high_reps,
        "n_sets": bias.n_sets,
        "min_sets": bias.min_sets,
        "computed": computed_body(bias.computed),
    }


def _adherence(adherence: AdherenceWeeks) -> dict[str, Any]:
    return {
        "computed": computed_body(adherence.computed),
        "weeks": [_adherence_week(week) for week in adherence.weeks],
    }


def _adherence_week(week: AdherenceWeek) -> dict[str, Any]:
    return {
        "starts_on": week.starts_on.isoformat(),
        "low_share": week.low,
        "high_share": week.high,
        "done": week.done,
        "late": week.late,
        "not_done": week.not_done,
        "unknown": week.unknown,
        "pending": week.pending,
        "excused": week.excused,
    }
