"""What pain a site usually has, and since when it has lain far above that."""

import math
from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.pain import check_pain
from coaching.compute.red_flags import PAIN_JUMP_POINTS

Floats = NDArray[np.float64]

USUAL_OF_DAYS = 28
USUAL_MIN_DAYS = 5
SPELL_HOURS = 7 * 24
ENDS_WITHIN_POINTS = 2


@dataclass(frozen=True, slots=True)
class RaisedSpell:
    """Since when and until when reports lay far above the usual pain; nan where the one asked about does not.

    Attributes:
        first_hours: time of the first raised report of the spell, on the clock of the input.
        newest_hours: time of the newest one.
    """

    first_hours: float
    newest_hours: float

    @property
    def hours(self) -> float:
        """Hours from the first raised report to the newest."""
        return self.newest_hours - self.first_hours


NO_SPELL = RaisedSpell(math.nan, math.nan)


def usual_pain(day_pain: Floats) -> float:
    """Say what pain a site usually has.

    Args:
        day_pain: (n_days,) pain 0-10 of each of the days before; nan = nothing reported, which is left out.

    Returns:
        The median; nan below 5 days with a report.

    Raises:
        ValueError: pain outside 0-10.

    Source:
        Design choice.

    >>> usual_pain(np.array([2.0, 2.0, 3.0, np.nan, 2.0, 8.0]))
    2.0
    """
    check_pain("day_pain", day_pain)
    known = day_pain[~np.isnan(day_pain)]
    return float(np.median(known)) if known.size >= USUAL_MIN_DAYS else math.nan


def raised_spell(hours: Floats, pain: Floats, usual: float, report: int) -> RaisedSpell:
    """Find the spell of pain far above usual that one report lies in.

    Args:
        hours: (n,) time of each report of the site in hours, from any instant and in any order.
        pain: (n,) pain 0-10 of each report.
        usual: usual pain of the site 0-10; nan = not known, then there is no spell.
        report: index of the report asked about.

    Returns:
        RaisedSpell; all nan where that report does not lie 3 or more above usual.

    Raises:
        ValueError: shapes differ or are not 1-D, hours are not finite, or pain is outside 0-10.

    Notes:
        A report at or below usual + 2 ends a spell; one between that and usual + 3 neither ends nor lengthens
        it. Reports more than 7 days away from the one asked about are left out.

    Source:
        Design choice.

    >>> raised_spell(np.array([0.0, 14.0, 30.0]), np.array([6.0, 5.0, 6.0]), usual=2.0, report=2).hours
    30.0
    """
    if hours.ndim != 1 or hours.shape != pain.shape:
        raise ValueError(
            f"hours and pain must have one dimension and one length, got {hours.shape} and {pain.shape}"
        )
    if not np.isfinite(hours).all():
        raise ValueError(f"hours must be finite, got {hours}")
    check_pain("pain", pain)
    at = hours[report]
    is_near = np.abs(hours - at) <= SPELL_HOURS
    is_raised = is_near & (pain - usual >= PAIN_JUMP_POINTS)
    if not is_raised[report]:
        return NO_SPELL
    ends = hours[is_near & (pain - usual <= ENDS_WITHIN_POINTS)]
    after = ends[ends < at].max(initial=-np.inf)
    before = ends[ends > at].min(initial=np.inf)
    spell = hours[is_raised & (hours >= after) & (hours <= before)]
    return RaisedSpell(float(spell.min()), float(spell.max()))
