"""The load and the effort of scheduled sessions: what was prescribed, and what the logged sets came to."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import isnan
from typing import Any

import numpy as np
from django.db.models import Case, IntegerField, Value, When
from django.db.models.functions import Coalesce
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
    LoadUnit,
    LoggedSet,
    Prescription,
    SetKind,
    SetSide,
)
from coaching.reads.answered import Answered
from coaching.reads.columns import Small, code_of, columns, packed, places_of, unpacked
from coaching.reads.labels import FRESH
from coaching.reads.scheduled_rows import ScheduledRows
from coaching.reads.session_logs import SessionLogs

E1RM_OF_DAYS = 84
NOT_KNOWN = float("nan")
NOBODY, UNSAID = 0, -1  # what stands for null on the way from the database
_FAILURE, _PAIN = EndedBy.values.index(EndedBy.FAILURE), EndedBy.values.index(EndedBy.PAIN)
_HUNDRED_MILLIONTHS_OF_KG = {unit: int(load_kg_of(10**11, unit)) for unit in LoadUnit.values}

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


@dataclass(frozen=True, slots=True)
class _Asked:
    """Each prescription of each session, those of one beside each other; loads are nan where unknown."""

    prescribed: tuple[_Prescribed, ...]  # of all plan days, in the order of their days
    session: Ints
    each: Ints
    load_kg: Floats
    first: Ints  # of each session, where it begins among these
    first_of_day: Ints  # of each session, where its plan day begins in `prescribed`

    def load_kg_of(self, session: Ints, each: Ints) -> Floats:
        """Of a prescription as it stood in a session; nan where `each` is -1."""
        place = self.first[session] + each - self.first_of_day[session]
        return np.append(self.load_kg, NOT_KNOWN)[np.where(each < 0, -1, place)]

    def of_each(self, value: Callable[[_Prescribed], float]) -> Floats:
        """A number of each entry's prescription."""
        return np.array([value(each) for each in self.prescribed], dtype=float)[self.each]


def session_doses(rows: ScheduledRows, *, logs: SessionLogs) -> SessionDoses:
    """Doses of these sessions from their logs; at most three queries.

    A load is compared where the plan states one: in kilograms, or as a share of the lift's best e1RM of the
    84 days before the session, rounded down to what the equipment can do.
    """
    days = _prescriptions(set(np.unique(rows.plan_day_id).tolist()))
    asked = _asked(rows, days)
    done = _done_sets(rows, days, asked, logs)
    n_sessions = len(rows)
    sets = asked.of_each(lambda each: each.sets)
    reps = sets * asked.of_each(lambda each: _known(each.reps_low))
    return SessionDoses(
        prescribed_volume_kg=_sums(asked.session, reps * asked.load_kg, n_sessions),
        completed_volume_kg=_sums(done.session, done.volume_kg, n_sessions),
        prescribed_hold_s=_sums(
            asked.session, sets * asked.of_each(lambda each: _known(each.duration_s)), n_sessions
        ),
        completed_hold_s=_sums(done.session, np.nan_to_num(done.hold_s), n_sessions),
        has_reached_effort=judge_effort(
            done.session, done.rir, done.rir_target, done.is_ended_by_pain, n_sessions=n_sessions
        ),
    )


def _asked(rows: ScheduledRows, days: Mapping[int, list[_Prescribed]]) -> _Asked:
    plan_days = list(days)
    counts = np.array([len(days[day]) for day in plan_days], dtype=np.int64)
    begins = np.cumsum(counts) - counts
    of_day = places_of(rows.plan_day_id, {day: place for place, day in enumerate(plan_days)})
    n_asked = counts[of_day]
    session = np.repeat(np.arange(len(rows)), n_asked)
    first = np.cumsum(n_asked) - n_asked
    each = begins[of_day][session] + np.arange(len(session)) - first[session]
    prescribed = tuple(one for day in plan_days for one in days[day])
    stated = np.array([one.load_kg for one in prescribed], dtype=float)[each]
    load_kg = _with_shares(rows, prescribed, session, each, stated)
    return _Asked(prescribed, session, each, load_kg, first, begins[of_day])


def _with_shares(
    rows: ScheduledRows, prescribed: Sequence[_Prescribed], session: Ints, each: Ints, load_kg: Floats
) -> Floats:
    """Loads with those that the plan states as a share of the lift's 1RM; no query where there are none."""
    is_share = np.array([one.share_of_1rm > 0 for one in prescribed], dtype=bool)[each]
    if not is_share.any():
        return load_kg
    known = _e1rms(rows, session[is_share], {prescribed[one].exercise_id for one in each[is_share].tolist()})
    found = load_kg.copy()
    for place in np.flatnonzero(is_share).tolist():
        at = session[place]
        found[place] = _share_kg(
            prescribed[each[place]], int(rows.client_id[at]), int(rows.due_day[at]), known
        )
    return found


def _prescriptions(plan_day_ids: set[int]) -> dict[int, list[_Prescribed]]:
    """Plan day -> what it prescribes."""
    found: dict[int, list[_Prescribed]] = {day: [] for day in sorted(plan_day_ids)}
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
    rows: ScheduledRows, sessions: Ints, exercise_ids: set[int]
) -> Mapping[_Lift, list[tuple[int, float]]]:
    """Daily e1RMs of the lifts whose load is a share of them, by ordinals of their days."""
    found: defaultdict[_Lift, list[tuple[int, float]]] = defaultdict(list)
    due = rows.due_day[sessions]
    known = LiftDay.objects.filter(
        client_id__in=set(rows.client_id[sessions].tolist()),
        exercise_id__in=exercise_ids,
        track=FRESH,
        day_on__gte=date.fromordinal(int(due.min()) - E1RM_OF_DAYS),
        day_on__lt=date.fromordinal(int(due.max())),
        e1rm_kg__isnull=False,
    ).values_list("client_id", "exercise_id", "side", "day_on", "e1rm_kg")
    for client, exercise, side, day, e1rm_kg in known:
        found[client, exercise, side].append((day.toordinal(), e1rm_kg or NOT_KNOWN))
    return found


def _share_kg(
    each: _Prescribed, client: int, due_day: int, e1rms: Mapping[_Lift, list[tuple[int, float]]]
) -> float:
    first = due_day - E1RM_OF_DAYS
    best = [
        max((e1rm_kg for day, e1rm_kg in e1rms.get(lift, []) if first <= day < due_day), default=NOT_KNOWN)
        for side in each.sides
        if (lift := (client, each.exercise_id, side))
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
    rows: ScheduledRows, days: Mapping[int, list[_Prescribed]], asked: _Asked, logs: SessionLogs
) -> _DoneSets:
    work = LoggedSet.objects.filter(session_id__any_of=logs.session_id.tolist(), kind=SetKind.WORK)
    sizes = len(LoadUnit), len(EndedBy), 2, 2
    told = packed(
        code_of("side", SetSide.values),
        (code_of("load_unit", LoadUnit.values), len(LoadUnit)),
        (code_of("ended_by", EndedBy.values), len(EndedBy)),
        (_as_number("is_to_confirm"), 2),
        (_as_number("exercise__is_one_sided"), 2),
    )
    log_id, named, exercise, load, reps, seconds, rir, codes = columns(
        work.annotate(
            named=Coalesce("prescription_id", NOBODY),
            known_reps=Coalesce("reps", UNSAID),
            known_s=Coalesce("duration_s", UNSAID),
            known_rir=Coalesce("rir", float(UNSAID)),
            told=told,
        ),
        session_id=int, named=int, exercise_id=int, load_thousandths=int, known_reps=Small, known_s=int,
        known_rir=float, told=Small,
    )  # fmt: skip
    side, unit, end, is_doubtful, is_one = unpacked(codes, *sizes)
    session = logs.scheduled[places_of(log_id, {own: at for at, own in enumerate(logs.session_id.tolist())})]
    each, turns = _answers(rows, days, asked, session, named, exercise, side, is_one)
    stated = asked.load_kg_of(session, each)
    load_kg = np.where((stated > 0) & (load > 0) & (is_doubtful == 0), _kg(load, unit), NOT_KNOWN)
    targets = np.append([one.rir_target for one in asked.prescribed], NOT_KNOWN)
    return _DoneSets(
        session=session,
        volume_kg=turns * _said(reps) * load_kg,
        hold_s=turns * _said(seconds),
        rir=np.where(end == _FAILURE, 0.0, _said(rir)),
        rir_target=targets[each],
        is_ended_by_pain=end == _PAIN,
    )


def _answers(
    rows: ScheduledRows, days: Mapping[int, list[_Prescribed]], asked: _Asked, session: Ints, named: Ints,
    exercise: Ints, side: Ints, is_one: Ints,
) -> tuple[Ints, Ints]:  # fmt: skip
    """Of each set, which prescription of its plan day it answers (-1: none), and on how many sides.

    Looked up once for each way of answering, of which a plan has few.
    """
    number = {one.id: place for place, one in enumerate(asked.prescribed)}
    answered = {
        plan_day: Answered.of(
            (one.id, one.exercise_id, side, one) for one in prescribed for side in one.sides_answered
        )
        for plan_day, prescribed in days.items()
    }
    ways, way_of = _alike(rows.plan_day_id[session], named, exercise, side, is_one)
    each, turns = np.empty(len(ways), np.int64), np.empty(len(ways), np.int64)
    for place, (plan_day, prescription, lift, side_code, is_one_sided) in enumerate(ways):
        word = SetSide.values[side_code]
        one = answered[plan_day].by(None if prescription == NOBODY else prescription, lift, word)
        each[place] = -1 if one is None else number[one.id]
        turns[place] = len(sides_in_turn(word, is_one_sided=bool(is_one_sided)))
    return each[way_of], turns[way_of]


def _alike(*parts: Ints) -> tuple[list[tuple[int, ...]], Ints]:
    """The distinct rows of these columns, and which of them each row is."""
    key = np.zeros(len(parts[0]), np.int64)
    for part in parts:
        values, place = np.unique(part, return_inverse=True)
        _, key = np.unique(key * max(1, len(values)) + place, return_inverse=True)
    _, first = np.unique(key, return_index=True)
    return list(zip(*(part[first].tolist() for part in parts), strict=True)), key


def _as_number(field: str) -> Case:
    return Case(When(**{field: True}, then=Value(1)), default=Value(0), output_field=IntegerField())


def _kg(thousandths: Ints, unit: Ints) -> Floats:
    """Exact but for the one rounding of the division, as `load_kg_of` rounded to a float."""
    per_unit = np.array([_HUNDRED_MILLIONTHS_OF_KG[each] for each in LoadUnit.values], dtype=np.int64)
    return thousandths * per_unit[unit] / 1e11


def _said(values: NDArray[Any]) -> Floats:
    return np.where(values < 0, NOT_KNOWN, values)


def _sums(places: Ints, values: Sequence[float] | Floats, n_sessions: int) -> Floats:
    """Sum of each session; one value that is not known makes it unknown."""
    return np.bincount(places, np.asarray(values, dtype=float), minlength=n_sessions).astype(float)


def _known(value: float | None) -> float:
    return NOT_KNOWN if value is None else float(value)


def _positive(value: float | None) -> float:
    """A load of 0 is one that was not entered."""
    return value if value else NOT_KNOWN
