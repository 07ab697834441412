"""Both sides of one lift over the same weeks, with how far they lie apart."""

from dataclasses import dataclass
from datetime import date

from coaching.models import SetSide
from coaching.reads.alert_openings import AlertOpening
from coaching.reads.history import LiftHistory, LiftPoint, lift_history
from coaching.reads.side_differences import SideDifference, client_sides


@dataclass(frozen=True, slots=True)
class LiftSidesHistory:
    """The comparable exposures of either side: none without an estimate, no deload, none that pain ended.

    `difference` is of the days that `client_sides` looks at, whatever the weeks; None where these have no
    exposure of either side. `alerts` are those of the two lifts, each with its side, oldest first.
    """

    exercise_code: str
    exercise_name: str
    track: str
    first_on: date
    until_on: date
    left: tuple[LiftPoint, ...]
    right: tuple[LiftPoint, ...]
    difference: SideDifference | None
    alerts: tuple[tuple[str, AlertOpening], ...] = ()


def lift_sides_history(
    client_id: int, exercise_id: int, track: str, until_on: date, weeks: int = 16
) -> LiftSidesHistory:
    """One lift's two sides, without points if the weeks hold none."""
    left, right = (
        lift_history(client_id, exercise_id, side, track, until_on, weeks)
        for side in (SetSide.LEFT, SetSide.RIGHT)
    )
    lifts = client_sides(client_id=client_id, until_on=until_on).lifts
    return LiftSidesHistory(
        exercise_code=left.exercise_code,
        exercise_name=left.exercise_name,
        track=track,
        first_on=left.first_on,
        until_on=until_on,
        left=_comparable(left.points),
        right=_comparable(right.points),
        difference=next(
            (each.e1rm for each in lifts if (each.exercise, each.track) == (left.exercise_code, track)), None
        ),
        alerts=_alerts(left, right),
    )


def _alerts(*lifts: LiftHistory) -> tuple[tuple[str, AlertOpening], ...]:
    found = [(lift.side, opening) for lift in lifts for opening in lift.alert_openings]
    return tuple(sorted(found, key=lambda each: (each[1].opened_on, each[0])))


def _comparable(points: tuple[LiftPoint, ...]) -> tuple[LiftPoint, ...]:
    return tuple(
        point
        for point in points
        if point.e1rm_kg is not None and not point.is_deload and not point.is_pain_limited
    )
