"""Left against right: how far a client's sides lie apart in strength and in pain, and with how much noise."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan

import numpy as np
from numpy.typing import NDArray

from coaching.compute.joint_sides import MIDLINE_JOINTS
from coaching.compute.side_difference import (
    DEFAULT_SETTINGS,
    METHOD,
    VERSION,
    SideDifferences,
    lift_side_differences,
    pain_side_differences,
)
from coaching.models import Joint, JointDay, LiftDay, SetSide
from coaching.reads.computed import Computed, computed_over
from coaching.reads.labels import FRESH

Floats = NDArray[np.float64]

WINDOW_DAYS = DEFAULT_SETTINGS.window_days
SIDES = (SetSide.LEFT.value, SetSide.RIGHT.value)
NOT_EQUALISED = "Forbear evens out nothing: plans, loads and advice of both sides stay as they are."


@dataclass(frozen=True, slots=True)
class SideDifference:
    """Right less left: a lift's e1RM in percent of the larger side, or a joint's pain in points.

    `noise` is how far apart two equal sides would be seen by noise alone. Everything is None where a side has
    no value in the window; `left` and `right` are the levels, kilograms or points.
    """

    difference: float | None
    low: float | None
    high: float | None
    noise: float | None
    is_within_noise: bool | None
    left: float | None
    right: float | None
    n_left: int
    n_right: int
    sentence: str


@dataclass(frozen=True, slots=True)
class LiftSides:
    exercise: str
    exercise_name: str
    track: str
    e1rm: SideDifference


@dataclass(frozen=True, slots=True)
class JointSides:
    joint: str
    pain: SideDifference


@dataclass(frozen=True, slots=True)
class ClientSides:
    computed: Computed
    lifts: tuple[LiftSides, ...]
    joints: tuple[JointSides, ...]


@dataclass(frozen=True, slots=True)
class _Lift:
    code: str
    name: str
    track: str


_Exposures = Mapping[_Lift, Mapping[str, Sequence[tuple[int, float]]]]


def client_sides(*, client_id: int, until_on: date) -> ClientSides:
    """Every one-sided lift and every joint with pain of the last 84 days, in two queries."""
    return ClientSides(
        computed=computed_over(METHOD, VERSION, until_on, WINDOW_DAYS),
        lifts=_lifts(_exposures(client_id, until_on), until_on),
        joints=_joints(client_id, until_on),
    )


def _exposures(client_id: int, until_on: date) -> _Exposures:
    """The comparable exposures of either side: no deload, none that pain ended."""
    rows = LiftDay.objects.filter(
        client_id=client_id,
        day_on__range=_window(until_on),
        side__in=SIDES,
        e1rm_kg__isnull=False,
        is_deload=False,
        is_pain_limited=False,
    ).values_list("exercise__code", "exercise__name", "track", "side", "day_on", "e1rm_kg")
    found: defaultdict[_Lift, dict[str, list[tuple[int, float]]]] = defaultdict(
        lambda: {side: [] for side in SIDES}
    )
    for code, name, track, side, day_on, e1rm_kg in rows.order_by("exercise__code", "track", "day_on"):
        found[_Lift(code, name, track)][side].append((day_on.toordinal(), e1rm_kg or np.nan))
    return found


def _lifts(exposures: _Exposures, until_on: date) -> tuple[LiftSides, ...]:
    lifts = list(exposures)
    left, right = (_padded([exposures[lift][side] for lift in lifts]) for side in SIDES)
    found = lift_side_differences(*left, *right, as_of_day=until_on.toordinal())
    return tuple(
        LiftSides(lift.code, lift.name, lift.track, _difference(found, row, _lift_name(lift), "e1RM", "%"))
        for row, lift in enumerate(lifts)
    )


def _padded(rows: Sequence[Sequence[tuple[int, float]]]) -> tuple[Floats, Floats]:
    """Days and e1RMs of each lift, padded with nan."""
    shape = (len(rows), max((len(row) for row in rows), default=0))
    days, e1rms = np.full(shape, np.nan), np.full(shape, np.nan)
    for place, row in enumerate(rows):
        for column, (day, e1rm_kg) in enumerate(row):
            days[place, column], e1rms[place, column] = day, e1rm_kg
    return days, e1rms


def _joints(client_id: int, until_on: date) -> tuple[JointSides, ...]:
    first, _ = _window(until_on)
    rows = list(
        JointDay.objects.filter(client_id=client_id, day_on__range=(first, until_on), pain__isnull=False)
        .exclude(joint__in=[Joint.OTHER, *MIDLINE_JOINTS])
        .values_list("joint", "side", "day_on", "pain")
    )
    joints = sorted({joint for joint, *_ in rows})
    pain = {side: np.full((len(joints), WINDOW_DAYS), np.nan) for side in SIDES}
    for joint, side, day_on, felt in rows:
        pain[side][joints.index(joint), (day_on - first).days] = felt
    found = pain_side_differences(*(pain[side] for side in SIDES))
    return tuple(
        JointSides(joint, _difference(found, row, joint.replace("_", " "), "pain", " points"))
        for row, joint in enumerate(joints)
    )


def _window(until_on: date) -> tuple[date, date]:
    return until_on - timedelta(days=WINDOW_DAYS - 1), until_on


def _difference(found: SideDifferences, row: int, name: str, what: str, unit: str) -> SideDifference:
    is_known = not isnan(found.difference[row])
    return SideDifference(
        difference=_number(found.difference[row]),
        low=_number(found.low[row]),
        high=_number(found.high[row]),
        noise=_number(found.noise_half_width[row]),
        is_within_noise=bool(found.is_within_noise[row]) if is_known else None,
        left=_number(found.left[row]),
        right=_number(found.right[row]),
        n_left=int(found.n_left[row]),
        n_right=int(found.n_right[row]),
        sentence=_sentence(found, row, name, what, unit),
    )


def _sentence(found: SideDifferences, row: int, name: str, what: str, unit: str) -> str:
    n_left, n_right = int(found.n_left[row]), int(found.n_right[row])
    if n_left == 0 or n_right == 0:
        side = "left" if n_left == 0 else "right"
        return f"{name}: nothing is known of the {what} of the {side} side in {WINDOW_DAYS} days."
    apart, noise = float(found.difference[row]), float(found.noise_half_width[row])
    verdict = (
        "which noise alone can explain" if found.is_within_noise[row] else "which is more than noise alone"
    )
    return (
        f"{name}: the {what} of the right side is {abs(apart):.1f}{unit} {_word(apart)} the left, {verdict} "
        f"(95% interval {found.low[row]:+.1f} to {found.high[row]:+.1f}; equal sides would be seen up to "
        f"{noise:.1f}{unit} apart), from {n_left} days of the left and {n_right} of the right in "
        f"{WINDOW_DAYS}. {NOT_EQUALISED}"
    )


def _word(apart: float) -> str:
    return "below" if apart < 0 else "above"


def _lift_name(lift: _Lift) -> str:
    if lift.track == FRESH:
        return lift.name
    return f"{lift.name}, straight after {lift.track.removeprefix('after:').replace('_', ' ')}"


def _number(value: float) -> float | None:
    return None if isnan(value) else float(value)
