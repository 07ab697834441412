"""From which night a lift that cannot be assessed yet could be, and why it cannot."""

from math import ceil, isnan

from coaching.compute.progress import (
    DEFAULT_SETTINGS,
    FEW_EXPOSURES,
    LOW_ATTENDANCE,
    NO_RECENT_EXPOSURES,
    NOT_ASSESSABLE,
    SHORT_SPAN,
    LiftAssessments,
)

NO_ESTIMATE = "no_estimate"
NOT_SCORED = "not_scored"

_WORDS = {
    FEW_EXPOSURES: f"Too few comparable exposures in the last {DEFAULT_SETTINGS.window_days} days.",
    SHORT_SPAN: "The comparable exposures lie too close together in time.",
    NO_RECENT_EXPOSURES: "Too few comparable exposures lately.",
    LOW_ATTENDANCE: (
        "Too few of the scheduled sessions were attended for a standstill to say anything; no date can be "
        "told."
    ),
    NO_ESTIMATE: (
        "No strength can be estimated from its sets: more than ten repetitions, or a load that is not known "
        "as a whole; no date can be told."
    ),
    NOT_SCORED: "No night has looked at it yet.",
}


def assessable_night(found: LiftAssessments, row: int, as_of_day: float) -> int | None:
    """Give the first night that could assess the lift if it goes on at its own pace.

    Args:
        found: result of assess_lifts, whose days are date ordinals.
        row: the lift.
        as_of_day: newest day that was seen; the night of that look is the day after.

    Returns:
        Ordinal of the night; None where the lift is assessable, where there is no pace yet (fewer than two
        comparable exposures on different days), and where no waiting helps (low attendance).

    Notes:
        The pace is the mean gap between comparable exposures so far. Without exposures the date moves on.

    Source:
        Design choice.

    >>> import numpy as np
    >>> from coaching.compute.progress import assess_lifts
    >>> days = np.array([[0.0, 7, 14]])
    >>> found = assess_lifts(days, np.full_like(days, 100.0), np.ones(days.shape, bool), np.array(["novice"]),
    ...                      as_of_day=14, increment_kg=np.array([2.5]))
    >>> assessable_night(found, 0, as_of_day=14)
    50
    """
    first, last = float(found.first_day[row]), float(found.last_day[row])
    n = int(found.n_exposures[row])
    if str(found.state[row]) != NOT_ASSESSABLE or str(found.reason[row]) == LOW_ATTENDANCE:
        return None
    if n < 2 or isnan(first) or last <= first:
        return None
    gap = (last - first) / (n - 1)
    to_go = max(1, int(found.exposures_to_go[row]))
    next_day = max(last + gap, as_of_day + 1)
    enough_on = next_day + (to_go - 1) * gap
    long_enough_on = last + int(found.days_to_go[row])
    return ceil(max(enough_on, long_enough_on)) + 1


def why_not(reason: str, exposures_to_go: int = 0) -> str:
    """Say in words why a lift cannot be assessed.

    Args:
        reason: a reason of assess_lifts, no_estimate or not_scored.
        exposures_to_go: comparable exposures that are missing, 0 if that is not the matter.

    Returns:
        One or two sentences.

    Raises:
        ValueError: unknown reason.

    Source:
        Design choice.

    >>> why_not("no_recent_exposures", 1)
    'Too few comparable exposures lately. 1 more is needed.'
    """
    if reason not in _WORDS:
        raise ValueError(f"reason must be one of {', '.join(_WORDS)}, got {reason}")
    if exposures_to_go == 0:
        return _WORDS[reason]
    return f"{_WORDS[reason]} {exposures_to_go} more {'is' if exposures_to_go == 1 else 'are'} needed."
