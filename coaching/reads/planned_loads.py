"""The loads that a plan would come to for a client today, as far as plan and logs say."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan, nan

from coaching.compute.joint_sides import sides_in_turn
from coaching.compute.units import round_to_step
from coaching.models import (
    WHOLE_LOADS,
    BlockKind,
    LiftDay,
    LoadBasis,
    LoadRule,
    PlanDay,
    Prescription,
)
from coaching.reads.labels import FRESH
from coaching.reads.planned_days import PlannedLoad
from coaching.reads.session_doses import E1RM_OF_DAYS


@dataclass(frozen=True, slots=True)
class _Known:
    """What the logs of the window say of one lift; nan = nothing."""

    best_e1rm_kg: float = nan
    newest_load_kg: float = nan


_Lift = tuple[int, str, str]  # exercise, side, track
NOTHING = _Known()


def planned_loads(*, client_id: int, days: Iterable[PlanDay], before: date) -> dict[int, PlannedLoad]:
    """Prescription id -> load, in one query.

    A load in kilograms is what the plan says; a share of the 1RM is of the best e1RM of the 84 days before
    `before`, rounded down to what the equipment can do; one from history is the newest of that lift, in its
    own track. What is not known stays nan. One-sided work of both sides takes the weaker side.
    """
    rows = [
        (row, _track(block.kind, block.prescriptions.all(), place))
        for day in days
        for block in day.blocks.all()
        for place, row in enumerate(block.prescriptions.all())
    ]
    known = _known(client_id, {row.exercise_id for row, _ in rows}, before)
    return {row.id: _planned_load(row, track, known) for row, track in rows}


def _track(kind: str, rows: Iterable[Prescription], place: int) -> str:
    """Later halves of a back-to-back block are done straight after the one before them."""
    if kind != BlockKind.BACK_TO_BACK or place == 0:
        return FRESH
    return f"after:{list(rows)[place - 1].exercise.code}"


def _known(client_id: int, exercise_ids: set[int], before: date) -> dict[_Lift, _Known]:
    found: defaultdict[_Lift, list[LiftDay]] = defaultdict(list)
    rows = LiftDay.objects.filter(
        client_id=client_id,
        exercise_id__in=exercise_ids,
        day_on__gte=before - timedelta(days=E1RM_OF_DAYS),
        day_on__lt=before,
    )
    for row in rows.order_by("day_on"):
        found[row.exercise_id, row.side, row.track].append(row)
    return {
        lift: _Known(
            max((row.e1rm_kg for row in days if row.e1rm_kg is not None), default=nan),
            next((row.best_load_kg for row in reversed(days) if row.best_load_kg is not None), nan),
        )
        for lift, days in found.items()
    }


def _planned_load(row: Prescription, track: str, known: dict[_Lift, _Known]) -> PlannedLoad:
    basis = row.exercise.load_basis
    if basis == LoadBasis.NONE:
        return PlannedLoad(load_kg=0.0)
    match row.load_rule:
        case LoadRule.FIXED:
            return PlannedLoad(load_kg=_entered(row.load_kg, basis))
        case LoadRule.SHARE_OF_1RM:
            share = nan if row.share_of_1rm is None else row.share_of_1rm
            e1rm_kg = _weaker([known.get(lift, NOTHING).best_e1rm_kg for lift in _lifts(row, FRESH)])
            return PlannedLoad(load_kg=_of_1rm(row, share * e1rm_kg), share_of_1rm=share)
        case _:
            loads = [known.get(lift, NOTHING).newest_load_kg for lift in _lifts(row, track)]
            return PlannedLoad(load_kg=_entered(_weaker(loads), basis))


def _lifts(row: Prescription, track: str) -> list[_Lift]:
    """The lifts under which the work is logged."""
    sides = sides_in_turn(row.side, is_one_sided=row.exercise.is_one_sided)
    return [(row.exercise_id, side, track) for side in sides]


def _weaker(numbers: list[float]) -> float:
    """The lowest; nan if one is not known."""
    return nan if any(isnan(number) for number in numbers) else min(numbers)


def _of_1rm(row: Prescription, load_kg: float) -> float:
    if isnan(load_kg) or row.exercise.load_basis not in WHOLE_LOADS:
        return nan
    step_kg = float(row.exercise.load_step_kg)
    return round_to_step(round(load_kg, 6), step_kg, "down") if step_kg else load_kg


def _entered(load_kg: float | None, basis: str) -> float:
    """A whole load of 0 is one that was not entered; 0 added to, or taken off, the body is a load."""
    if load_kg is None or (load_kg == 0 and basis in WHOLE_LOADS):
        return nan
    return load_kg
