"""The load and the effort of scheduled sessions: what was prescribed, and what the logged sets came to."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan

import numpy as np
from numpy.typing import NDArray

from coaching.compute.effort import judge_effort
from coaching.compute.exposure import BOTH
from coaching.compute.joint_sides import sides_in_turn
from coaching.compute.units import load_kg_of, round_to_step
from coaching.models import (
    WHOLE_LOADS,
    EffortTarget,
    EndedBy,
    LiftDay,
    LoadRule,
    LoggedSet,
    Prescription,
    ScheduledSession,
    SetKind,
)
from coaching.reads.answered import Answered
from coaching.reads.labels import FRESH

E1RM_OF_DAYS = 84
NOT_KNOWN = float("nan")

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_Lift = tuple[int, int, str]  # client, exercise, side


@dataclass(frozen=True, slots=True)
class SessionDoses:
    """One entry per scheduled session; nan = not known, or nothing of the kind.

    Attributes:
        prescribed_volume_kg: least reps x load, where the plan states the load of every prescription.
        completed_volume_kg: reps x load, where every work set answers a prescription with a stated load.
        prescribed_hold_s: seconds, where all that was prescribed is timed, and
        completed_hold_s: seconds held.
        has_reached_effort: as judge_effort.
    """

    prescribed_volume_kg: Floats
    completed_volume_kg: Floats
    prescribed_hold_s: Floats
    completed_hold_s: Floats
    has_reached_effort: Floats


@dataclass(frozen=True, slots=True)
class _Prescribed:
    id: int
    exercise_id: int
    sides: tuple[str, ...]
    sets: int
    reps_low: int | None
    duration_s: int | None
    rir_target: float
    load_kg: float
    share_of_1rm: float
    step_kg: float

    @property
    def sides_answered(self) -> tuple[str, ...]:
        """Sides under which its sets may be logged: of two sides in turn, each by itself or both at once."""
        return self.sides if len(self.sides) == 1 else (*self.sides, BOTH)


def session_doses(rows: Sequence[ScheduledSession], *, last_day: date) -> SessionDoses:
    """Doses of these sessions from the logs up to `last_day`; at most three queries.

    A load is compared where the plan states one: in kilograms, or as a share of the lift's best e1RM of the
    84 days before the session, rounded down to what the equipment can do.
    """
    days = _prescriptions({row.plan_day_id for row in rows})
    e1rms = _e1rms(rows, days)
    asked = [
        (place, each, _prescribed_load_kg(row, each, e1rms))
        for place, row in enumerate(rows)
        for each in days[row.plan_day_id]
    ]
    load_of = {(place, each.id): load_kg for place, each, load_kg in asked}
    done = _done_sets(rows, days, load_of, last_day)
    n_sessions = len(rows)
    places = np.array([place for place, _, _ in asked], dtype=np.int64)
    return SessionDoses(
        prescribed_volume_kg=_sums(
            places, [each.sets * _known(each.reps_low) * load_kg for _, each, load_kg in asked], n_sessions
        ),
        completed_volume_kg=_sums(done.session, done.volume_kg, n_sessions),
        prescribed_hold_s=_sums(
            places, [each.sets * _known(each.duration_s) for _, each, _ in asked], n_sessions
        ),
        completed_hold_s=_sums(done.session, np.nan_to_num(done.hold_s), n_sessions),
        has_reached_effort=judge_effort(
            done.session, done.rir, done.rir_target, done.is_ended_by_pain, n_sessions=n_sessions
        ),
    )


def _prescriptions(plan_day_ids: set[int]) -> defaultdict[int, list[_Prescribed]]:
    """Plan day -> what it prescribes."""
    found: defaultdict[int, list[_Prescribed]] = defaultdict(list)
    rows = Prescription.objects.filter(block__day_id__in=plan_day_ids).values_list(
        "block__day_id", "id", "exercise_id", "side", "sets", "reps_low", "duration_s", "effort_target",
        "rir_target", "load_rule", "load_kg", "share_of_1rm", "exercise__load_basis",
        "exercise__load_step_thousandths", "exercise__is_one_sided",
    )  # fmt: skip
    for (
        day, own, exercise, side, sets, reps, seconds, effort, rir, rule, load_kg, share, basis, step, is_one
    ) in rows:  # fmt: skip
        turns = sides_in_turn(side, is_one_sided=is_one)
        is_whole = basis in WHOLE_LOADS
        found[day].append(
            _Prescribed(
                id=own,
                exercise_id=exercise,
                sides=turns,
                sets=sets * len(turns),
                reps_low=reps,
                duration_s=seconds,
                rir_target=0.0 if effort == EffortTarget.FAILURE else _known(rir),
                load_kg=_positive(load_kg) if is_whole and rule == LoadRule.FIXED else NOT_KNOWN,
                share_of_1rm=_positive(share) if is_whole and rule == LoadRule.SHARE_OF_1RM else NOT_KNOWN,
                step_kg=step / 1000,
            )
        )
    return found


def _e1rms(
    rows: Sequence[ScheduledSession], days: Mapping[int, list[_Prescribed]]
) -> Mapping[_Lift, list[tuple[date, float]]]:
    """Daily e1RMs of the lifts whose load is a share of them; no query where there are none."""
    found: defaultdict[_Lift, list[tuple[date, float]]] = defaultdict(list)
    shared = [row for row in rows if any(each.share_of_1rm > 0 for each in days[row.plan_day_id])]
    if not shared:
        return found
    known = LiftDay.objects.filter(
        client_id__in={row.client_id for row in shared},
        exercise_id__in={
            each.exercise_id for row in shared for each in days[row.plan_day_id] if each.share_of_1rm > 0
        },
        track=FRESH,
        day_on__gte=min(row.due_on for row in shared) - timedelta(days=E1RM_OF_DAYS),
        day_on__lt=max(row.due_on for row in shared),
        e1rm_kg__isnull=False,
    ).values_list("client_id", "exercise_id", "side", "day_on", "e1rm_kg")
    for client, exercise, side, day, e1rm_kg in known:
        found[client, exercise, side].append((day, e1rm_kg or NOT_KNOWN))
    return found


def _prescribed_load_kg(
    row: ScheduledSession, each: _Prescribed, e1rms: Mapping[_Lift, list[tuple[date, float]]]
) -> float:
    if not each.share_of_1rm > 0:
        return each.load_kg
    first = row.due_on - timedelta(days=E1RM_OF_DAYS)
    best = [
        max((e1rm_kg for day, e1rm_kg in e1rms.get(lift, []) if first <= day < row.due_on), default=NOT_KNOWN)
        for side in each.sides
        if (lift := (row.client_id, each.exercise_id, side))
    ]
    if any(isnan(e1rm_kg) for e1rm_kg in best):
        return NOT_KNOWN
    load_kg = round(each.share_of_1rm * min(best), 6)
    return round_to_step(load_kg, each.step_kg, "down") if each.step_kg else load_kg


@dataclass(frozen=True, slots=True)
class _DoneSets:
    """Work sets, one entry each; volume is nan where a load is not known or answers no stated one."""

    session: Ints
    volume_kg: Floats
    hold_s: Floats
    rir: Floats
    rir_target: Floats
    is_ended_by_pain: NDArray[np.bool_]


def _done_sets(
    rows: Sequence[ScheduledSession],
    days: Mapping[int, list[_Prescribed]],
    load_of: Mapping[tuple[int, int], float],
    last_day: date,
) -> _DoneSets:
    place_of = {row.id: place for place, row in enumerate(rows)}
    answered = {
        plan_day: Answered.of(
            (each.id, each.exercise_id, side, each) for each in prescribed for side in each.sides_answered
        )
        for plan_day, prescribed in days.items()
    }
    sets = LoggedSet.objects.filter(
        session__scheduled_session_id__in=place_of,
        session__performed_on__lte=last_day,
        session__deleted_at__isnull=True,
        kind=SetKind.WORK,
    ).values_list(
        "session__scheduled_session__id", "prescription_id", "exercise_id", "side", "load_thousandths",
        "load_unit", "is_to_confirm", "reps", "duration_s", "rir", "ended_by", "exercise__is_one_sided",
    )  # fmt: skip
    places: list[int] = []
    cells: list[tuple[float, float, float, float, bool]] = []
    for scheduled, named, exercise, side, load, unit, is_doubtful, reps, seconds, rir, end, is_one in sets:
        place = place_of[scheduled]
        turns = len(sides_in_turn(side, is_one_sided=is_one))
        each = answered[rows[place].plan_day_id].by(named, exercise, side)
        is_compared = each is not None and load_of[place, each.id] > 0 and load > 0 and not is_doubtful
        load_kg = float(load_kg_of(load, unit)) if is_compared else NOT_KNOWN
        places.append(place)
        cells.append(
            (
                turns * _known(reps) * load_kg,
                turns * _known(seconds),
                0.0 if end == EndedBy.FAILURE else _known(rir),
                NOT_KNOWN if each is None else each.rir_target,
                end == EndedBy.PAIN,
            )
        )
    table = np.array(cells, dtype=float).reshape(-1, 5)
    volume_kg, hold_s, rirs, targets, pains = table.T
    return _DoneSets(np.array(places, dtype=np.int64), volume_kg, hold_s, rirs, targets, pains == 1)


def _sums(places: Ints, values: Sequence[float] | Floats, n_sessions: int) -> Floats:
    """Sum of each session; one value that is not known makes it unknown."""
    return np.bincount(places, np.asarray(values, dtype=float), minlength=n_sessions).astype(float)


def _known(value: float | None) -> float:
    return NOT_KNOWN if value is None else float(value)


def _positive(value: float | None) -> float:
    """A load of 0 is one that was not entered."""
    return value if value else NOT_KNOWN
