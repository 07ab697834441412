"""The pain of a client's sites, training day by training day, and what the pain gate makes of it."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from coaching.compute.exposure_pain import has_passed_gate
from coaching.compute.pain import DEFAULT_PAIN_LIMIT, MORNING_TOLERANCE, assess_settling, compare_weeks
from coaching.compute.pain_gate import PASSED, ExposurePain, PainGate, pain_gate
from coaching.models import Client, Injury, Joint, JointDay, PainMoment, PainReport

LOOK_BACK_DAYS = 182
USUAL_DAYS = 84
NO_NEED = PainGate(PASSED, "")


@dataclass(frozen=True, slots=True)
class MissingReport:
    """A pain report that would let a lever move, or say that none may."""

    joint: str
    side: str
    day_on: date
    moment: str


@dataclass(frozen=True, slots=True)
class SitePain:
    """One site up to the day before the advice.

    Attributes:
        trained_on: days on which the site was loaded, oldest first.
        by_day: pain of each of them.
        usual_morning: median of earlier mornings; None = not known.
        is_week_rising: the median of the last seven days lies over a point above the seven before.
        limit: the injury's own limit, never above the general one.
        needs_reports_from: the first day whose exposure needs reports: from the first pain on, always for a
            guarded site; None = any other joint has nothing to gate.
        is_over_limit_today: pain of the day of the advice itself, during or after training, is at the limit.
    """

    target: str
    trained_on: tuple[date, ...]
    by_day: Mapping[date, ExposurePain]
    usual_morning: float | None
    is_week_rising: bool
    limit: float
    needs_reports_from: date | None
    is_over_limit_today: bool

    @property
    def gate(self) -> PainGate:
        if self.needs_reports_from is None:
            return NO_NEED
        return pain_gate(
            [self.by_day[day] for day in self.trained_on[-2:]],
            usual_morning=self.usual_morning,
            is_week_rising=self.is_week_rising,
            limit=self.limit,
        )

    def passed_on(self, day: date) -> bool | None:
        """Whether the exposure of that day by itself kept the pain rules; None where it is not known."""
        if self.needs_reports_from is None or day < self.needs_reports_from:
            return True
        exposure = self.by_day.get(day, ExposurePain(None, None, None))
        return has_passed_gate(exposure, usual_morning=self.usual_morning, limit=self.limit)

    @property
    def missing(self) -> tuple[MissingReport, ...]:
        """Reports of the last two exposures to ask for."""
        if self.needs_reports_from is None:
            return ()
        joint, _, side = self.target.partition(":")
        return tuple(
            MissingReport(joint, side, day, moment)
            for day in self.trained_on[-2:]
            for moment in _not_reported(self.by_day[day])
        )


def _not_reported(exposure: ExposurePain) -> list[str]:
    is_silent = exposure.during is None and exposure.after is None
    moments = [PainMoment.DURING.value] if is_silent else []
    return [*moments, PainMoment.NEXT_MORNING.value] if exposure.next_morning is None else moments


def site_pains(*, client: Client, before_on: date) -> dict[str, SitePain]:
    """Every site that was trained, reported or is guarded, up to the day before, and today's limit.

    Three queries.
    """
    first_on = before_on - timedelta(days=LOOK_BACK_DAYS)
    days = JointDay.objects.filter(client=client, day_on__gte=first_on, day_on__lt=before_on)
    rows: defaultdict[str, list[JointDay]] = defaultdict(list)
    for row in days.order_by("day_on"):
        rows[f"{row.joint}:{row.side}"].append(row)
    felt = _felt(client, first_on, before_on)
    limits = _guarded_limits(client)
    return {
        target: _site_pain(target, rows[target], felt[target], limits.get(target), before_on)
        for target in {*rows, *felt, *limits}
    }


def _felt(client: Client, first_on: date, before_on: date) -> defaultdict[str, dict[tuple[date, str], int]]:
    """Site -> (training day, moment) -> highest pain, the day of the advice included."""
    found: defaultdict[str, dict[tuple[date, str], int]] = defaultdict(dict)
    reports = PainReport.objects.filter(client=client, felt_on__gte=first_on, felt_on__lte=before_on)
    for joint, side, day, moment, pain in reports.exclude(joint=Joint.OTHER).values_list(
        "joint", "side", "felt_on", "moment", "pain"
    ):
        known = found[f"{joint}:{side}"]
        known[day, moment] = max(pain, known.get((day, moment), 0))
    return found


def _guarded_limits(client: Client) -> dict[str, float]:
    limits: dict[str, float] = {}
    for injury in Injury.objects.filter(client=client).guarding():
        own = float(injury.pain_limit or DEFAULT_PAIN_LIMIT)
        limits[injury.target] = min(own, limits.get(injury.target, own))
    return limits


def _site_pain(
    target: str,
    rows: list[JointDay],
    felt: Mapping[tuple[date, str], int],
    limit: float | None,
    before_on: date,
) -> SitePain:
    trained = tuple(row.day_on for row in rows if row.joint_reps > 0)
    painful = [day for (day, _), pain in felt.items() if pain > 0 and day < before_on]
    usual_morning, is_rising = _over_weeks(rows, before_on)
    own_limit = min(float(DEFAULT_PAIN_LIMIT), limit or float(DEFAULT_PAIN_LIMIT))
    today = [felt.get((before_on, moment), 0) for moment in (PainMoment.DURING, PainMoment.AFTER)]
    return SitePain(
        target=target,
        trained_on=trained,
        by_day={
            day: ExposurePain(
                felt.get((day, PainMoment.DURING)),
                felt.get((day, PainMoment.AFTER)),
                felt.get((day, PainMoment.NEXT_MORNING)),
            )
            for day in trained
        },
        usual_morning=usual_morning,
        is_week_rising=is_rising,
        limit=own_limit,
        needs_reports_from=min(painful, default=None) if limit is None else date.min,
        is_over_limit_today=max(today) >= own_limit,
    )


def _over_weeks(rows: list[JointDay], before_on: date) -> tuple[float | None, bool]:
    """The usual morning as the night knows it, and whether pain rose from last week to this one."""
    shape = (1, USUAL_DAYS)
    pain, morning, reps = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape)
    for row in rows:
        column = USUAL_DAYS - (before_on - row.day_on).days
        if column >= 0:
            pain[0, column] = np.nan if row.pain is None else row.pain
            morning[0, column] = np.nan if row.pain_next_morning is None else row.pain_next_morning
            reps[0, column] = row.joint_reps
    usual = float(assess_settling(morning, reps).usual_morning[0])
    is_rising = bool(compare_weeks(pain, tolerance=MORNING_TOLERANCE).is_rising[0])
    return (None if np.isnan(usual) else usual), is_rising
