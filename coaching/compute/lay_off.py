"""Where to start again after days without an exercise, and how weekly volume comes back."""

import math
from dataclasses import dataclass

RETURN_CUTS = (0.50, 0.30, 0.20, 0.10)


@dataclass(frozen=True, slots=True)
class LayOffStart:
    """Shares of the last load and of the prescribed sets to start with; 1 = as before.

    Attributes:
        load_share: share of the last load.
        sets_share: highest share of the sets.
        is_one_rm_stale: the e1RM has to be found again.
    """

    load_share: float
    sets_share: float
    is_one_rm_stale: bool = False

    @property
    def is_lay_off(self) -> bool:
        return self.load_share < 1

    def sets_of(self, sets: int) -> int:
        """The share of the sets, rounded down, and one at least."""
        return max(1, math.floor(sets * self.sets_share + 1e-9))


_RESUME = LayOffStart(1.0, 1.0)
# Days up to and including, and the start after them. Of a printed range of loads the lower end is taken.
_STARTS = (
    (7, _RESUME),
    (14, LayOffStart(0.9, 1.0)),
    (28, LayOffStart(0.8, 0.7)),
    (56, LayOffStart(0.7, 0.5)),
)
_RESTART = LayOffStart(0.5, 0.5, is_one_rm_stale=True)


def layoff_start(days_since: int) -> LayOffStart:
    """Say where to start after a lay-off.

    Args:
        days_since: days since the last exposure, 0 or more.

    Returns:
        LayOffStart: up to 7 days as before; up to 14 days 90 % of the load; up to 28 days 80 % and 70 % of
            the
        sets; up to 56 days 70 % and half of the sets; later half and half, and the e1RM is to be found again.

    Raises:
        ValueError: days_since negative.

    Notes:
        After a flare of pain it is the pain rule that counts, not a percentage: one step below the last load
        that passed.

    Source:
        Coach judgement, no source.

    >>> layoff_start(10).load_share, layoff_start(20).sets_of(3)
    (0.9, 2)
    """
    if days_since < 0:
        raise ValueError(f"days_since must be 0 or more, got {days_since}")
    return next((start for days, start in _STARTS if days_since <= days), _RESTART)


def return_volumes(highest_per_week: float, weeks: int = 4) -> tuple[float, ...]:
    """Give the upper limits of weekly volume for the first weeks after a long break.

    Args:
        highest_per_week: highest weekly volume before the break, 0 or more; any unit.
        weeks: 4, or 2 for people who come back to training they know.

    Returns:
        One limit for each week, in the unit given.

    Raises:
        ValueError: volume negative or not finite, or weeks is neither 2 nor 4.

    Notes:
        Written for college athletes' conditioning, against harm of the heart, of heat and of muscle; it was
        not made for the rehabilitation of joints.

    Source:
        50/30/20/10 rule: Caterisano et al. 2019, Strength Cond J 41(3):1-23 (from memory).

    >>> return_volumes(1000)
    (500.0, 700.0, 800.0, 900.0)
    """
    if not math.isfinite(highest_per_week) or highest_per_week < 0:
        raise ValueError(f"highest_per_week must be a finite number of 0 or more, got {highest_per_week}")
    if weeks not in (2, len(RETURN_CUTS)):
        raise ValueError(f"weeks must be 2 or 4, got {weeks}")
    return tuple(highest_per_week * (1 - cut) for cut in RETURN_CUTS[:weeks])
