"""The pain gate: may a lever move after the last two exposures of a site?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coaching.compute.pain import DEFAULT_PAIN_LIMIT, MORNING_TOLERANCE, check_pain

PASSED, FAILED, UNKNOWN = "passed", "failed", "unknown"


@dataclass(frozen=True, slots=True)
class ExposurePain:
    """Pain of one exposure of a site, 0-10; None = not reported."""

    during: float | None
    after: float | None
    next_morning: float | None


@dataclass(frozen=True, slots=True)
class PainGate:
    """May a lever move? verdict is passed, failed or unknown; reason is empty where it passed."""

    verdict: str
    reason: str


def pain_gate(
    exposures: Sequence[ExposurePain],
    *,
    usual_morning: float | None,
    is_week_rising: bool = False,
    limit: float = DEFAULT_PAIN_LIMIT,
    tolerance: float = MORNING_TOLERANCE,
) -> PainGate:
    """Say whether the last two exposures of a site allow a lever to move.

    Args:
        exposures: exposures of the site, oldest first; the last two count.
        usual_morning: usual pain of a morning; None = not known, then only a morning up to the tolerance
            passes.
        is_week_rising: the median pain of this week lies above that of the week before (compare_weeks).
        limit: pain at or above it fails; a limit above 6 is read as 6.
        tolerance: see is_unsettled.

    Returns:
        PainGate; reasons: few_exposures, pain_during, pain_after, not_settled, week_rising, no_report,
        no_next_morning, no_usual_morning. A failure outweighs what is unknown.

    Raises:
        ValueError: pain outside 0-10.

    Notes:
        Unknown is not passed: hold every lever and ask.

    Source:
        Pain-monitoring model: during and after up to 5, settled by the next morning, no increase from week to
        week; Thomee 1997, Silbernagel 2007 (rules from memory). Two exposures: coach judgement.

    >>> calm = ExposurePain(during=3, after=2, next_morning=1)
    >>> pain_gate([calm, calm], usual_morning=1).verdict
    'passed'
    >>> pain_gate([calm, ExposurePain(3, 2, None)], usual_morning=1)
    PainGate(verdict='unknown', reason='no_next_morning')
    """
    last = exposures[-2:]
    for exposure in last:
        known = [x for x in (exposure.during, exposure.after, exposure.next_morning) if x is not None]
        check_pain("exposures", np.asarray(known, dtype=float))
    limit = min(limit, DEFAULT_PAIN_LIMIT)
    reasons = [reason for exposure in last if (reason := _failure(exposure, usual_morning, limit, tolerance))]
    if not reasons and is_week_rising:
        reasons = ["week_rising"]
    if reasons:
        return PainGate(FAILED, reasons[-1])
    if len(last) < 2:
        return PainGate(UNKNOWN, "few_exposures")
    gaps = [gap for exposure in last if (gap := _gap(exposure, usual_morning, tolerance))]
    return PainGate(UNKNOWN, gaps[-1]) if gaps else PainGate(PASSED, "")


def _failure(exposure: ExposurePain, usual: float | None, limit: float, tolerance: float) -> str:
    if exposure.during is not None and exposure.during >= limit:
        return "pain_during"
    if exposure.after is not None and exposure.after >= limit:
        return "pain_after"
    if exposure.next_morning is None:
        return ""
    is_above_usual = usual is not None and exposure.next_morning > usual + tolerance
    return "not_settled" if is_above_usual or exposure.next_morning >= limit else ""


def _gap(exposure: ExposurePain, usual: float | None, tolerance: float) -> str:
    if exposure.during is None and exposure.after is None:
        return "no_report"
    if exposure.next_morning is None:
        return "no_next_morning"
    return "no_usual_morning" if usual is None and exposure.next_morning > tolerance else ""
