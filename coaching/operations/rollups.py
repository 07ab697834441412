"""Daily roll-ups, rebuilt from the raw rows of the days they concern; safe to repeat."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from django.db import connection

from coaching.compute import strength
from coaching.compute.joint_sides import REPS_OF_A_HOLD, sides_in_turn, sides_loaded
from coaching.compute.units import load_kg_of
from coaching.models import (
    WHOLE_LOADS,
    Client,
    EndedBy,
    Joint,
    JointDay,
    LiftDay,
    Measure,
    PainMoment,
    SetKind,
)
from coaching.models.statements import asked, day_of, done, insert_rows
from coaching.reads.labels import FRESH
from coaching.reads.stress import stresses_for

MOMENTS_OF_THE_DAY = [PainMoment.DURING, PainMoment.AFTER, PainMoment.NEXT_MORNING]


@dataclass(slots=True)
class _SiteDay:
    joint_reps: float = 0.0
    joint_load_kg: float = 0.0
    pain: int | None = None
    pain_next_morning: int | None = None

    def feel(self, report: "_Felt") -> None:
        if report.moment in MOMENTS_OF_THE_DAY:
            self.pain = max(report.pain, self.pain or 0)
        if report.moment == PainMoment.NEXT_MORNING:
            self.pain_next_morning = max(report.pain, self.pain_next_morning or 0)


class _Done(NamedTuple):
    """A set with what its session and its exercise say of it."""

    performed_on: date
    is_deload: bool
    session_id: int
    position: int
    exercise_id: int
    code: str
    measure: str
    load_basis: str
    is_one_sided: bool
    kind: str
    side: str
    load_thousandths: int
    load_unit: str
    reps: int | None
    duration_s: int | None
    rir: float | None
    ended_by: str
    follows_position: int | None
    is_to_confirm: bool
    load_kg: Decimal


class _Felt(NamedTuple):
    felt_on: date
    joint: str
    side: str
    moment: str
    pain: int


@dataclass(slots=True)
class _Lift:
    sets: list[_Done] = field(default_factory=list)
    is_deload: bool = False


def rebuild_days(*, client: Client, days: Collection[date], is_locked: bool = False) -> None:
    """Bring the client's joint days and lift days of `days` to what the kept sessions and reports say.

    One writer of a client after another: who came first has committed when the rows are read here. Whoever
    took a turn before (`standing.take_turn`) has the client's row locked already.
    """
    if not is_locked:
        _wait_for_other_writers(client)
    joint_days, lift_days = rollups_of(client=client, days=days)
    done(DROP_JOINT_DAYS, [client.practice_id, client.id, list(days)])
    done(DROP_LIFT_DAYS, [client.practice_id, client.id, list(days)])
    insert_rows(joint_days)
    insert_rows(lift_days)


def _wait_for_other_writers(client: Client) -> None:
    """On SQLite whoever writes is alone. Not so strong a lock that a row pointing at the client must wait."""
    if connection.features.has_select_for_update:
        Client.objects.select_for_update(no_key=True).only("id").get(id=client.id)


def rollups_of(*, client: Client, days: Collection[date]) -> tuple[list[JointDay], list[LiftDay]]:
    """What the roll-ups of `days` should hold, made from the raw rows and not saved.

    A load that waits for confirmation counts its repetitions, but neither its load nor its strength.
    """
    own = [client.practice_id, client.id, list(days)]
    sets = [_done_set(row) for row in asked(DONE, own)]
    reports = [_Felt(day_of(felt_on), *rest) for felt_on, *rest in asked(FELT, [*own, Joint.OTHER.value])]
    stresses = stresses_for(
        practice_id=client.practice_id, client_id=client.id, exercise_ids={row.exercise_id for row in sets}
    )
    return _joint_days(client, sets, reports, stresses), _lift_days(client, sets)


DONE = (
    "SELECT x.performed_on, x.is_deload, s.session_id, s.position, s.exercise_id, e.code, e.measure, "
    "e.load_basis, e.is_one_sided, s.kind, s.side, s.load_thousandths, s.load_unit, s.reps, s.duration_s, "
    "s.rir, s.ended_by, s.follows_position, s.is_to_confirm FROM coaching_session x "
    "JOIN coaching_loggedset s ON s.session_id = x.id JOIN coaching_exercise e ON e.id = s.exercise_id "
    "WHERE x.practice_id = %s AND x.client_id = %s AND x.performed_on = ANY(%s) AND x.deleted_at IS NULL "
    "ORDER BY s.session_id, s.position"
)
FELT = (
    "SELECT felt_on, joint, side, moment, pain FROM coaching_painreport "
    "WHERE practice_id = %s AND client_id = %s AND felt_on = ANY(%s) AND joint <> %s"
)
DROP_JOINT_DAYS = (
    "DELETE FROM coaching_jointday WHERE practice_id = %s AND client_id = %s AND day_on = ANY(%s)"
)
DROP_LIFT_DAYS = "DELETE FROM coaching_liftday WHERE practice_id = %s AND client_id = %s AND day_on = ANY(%s)"


def _done_set(row: tuple[Any, ...]) -> _Done:
    load_kg = load_kg_of(row[LOAD_THOUSANDTHS], row[LOAD_UNIT])
    return _Done._make((day_of(row[0]), *row[1:], load_kg))


LOAD_THOUSANDTHS, LOAD_UNIT = _Done._fields.index("load_thousandths"), _Done._fields.index("load_unit")


def _joint_days(
    client: Client,
    sets: Iterable[_Done],
    reports: Iterable[_Felt],
    stresses: dict[int, dict[str, float]],
) -> list[JointDay]:
    found: defaultdict[tuple[date, str, str], _SiteDay] = defaultdict(_SiteDay)
    for row in sets:
        reps = REPS_OF_A_HOLD if row.reps is None else row.reps
        load_kg = 0.0 if row.is_to_confirm else float(row.load_kg)
        for joint, stress in stresses.get(row.exercise_id, {}).items():
            for side in _sides_loaded(joint, row):
                site = found[row.performed_on, joint, side]
                site.joint_reps += reps * stress
                site.joint_load_kg += reps * stress * load_kg
    for report in reports:
        found[report.felt_on, report.joint, report.side].feel(report)
    return [
        JointDay(
            practice_id=client.practice_id,
            client=client,
            day_on=day,
            joint=joint,
            side=side,
            joint_reps=site.joint_reps,
            joint_load_kg=site.joint_load_kg,
            pain=site.pain,
            pain_next_morning=site.pain_next_morning,
        )
        for (day, joint, side), site in found.items()
    ]


def _sides_loaded(joint: str, row: _Done) -> list[str]:
    """A set of both sides of one-sided work stands for a set of each, so that the spine sees two."""
    turns = sides_in_turn(row.side, is_one_sided=row.is_one_sided)
    return [side for turn in turns for side in sides_loaded(joint, turn)]


def _lift_days(client: Client, sets: Iterable[_Done]) -> list[LiftDay]:
    lifts: defaultdict[tuple[date, int, str, str], _Lift] = defaultdict(_Lift)
    exercise_at: dict[tuple[int, int], str] = {}
    for row in sets:
        exercise_at[row.session_id, row.position] = row.code
        if row.kind != SetKind.WORK or row.is_to_confirm:
            continue
        track = FRESH
        if row.follows_position is not None:
            track = f"after:{exercise_at[row.session_id, row.follows_position]}"
        lift = lifts[row.performed_on, row.exercise_id, row.side, track]
        lift.sets.append(row)
        lift.is_deload |= bool(row.is_deload)
    return [_lift_day(client, key, lift) for key, lift in lifts.items()]


def _lift_day(client: Client, key: tuple[date, int, str, str], lift: _Lift) -> LiftDay:
    day, exercise_id, side, track = key
    best = max(lift.sets, key=lambda row: (row.load_kg, _amount(row)))
    estimates = [estimate for row in lift.sets if (estimate := _e1rm_kg(row)) is not None]
    return LiftDay(
        practice_id=client.practice_id,
        client=client,
        day_on=day,
        exercise_id=exercise_id,
        side=side,
        track=track,
        e1rm_kg=max(estimates, default=None),
        best_load_kg=float(best.load_kg),
        best_reps=best.reps,
        best_rir=_rir(best),
        work_sets=len(lift.sets),
        volume_load_kg=sum((row.reps or 0) * float(row.load_kg) for row in lift.sets),
        is_pain_limited=any(row.ended_by == EndedBy.PAIN for row in lift.sets),
        is_deload=lift.is_deload,
    )


def _amount(row: _Done) -> int:
    return row.reps if row.reps is not None else (row.duration_s or 0)


def _rir(row: _Done) -> float | None:
    """Reps in reserve as reported; a set to failure left none."""
    return 0.0 if row.ended_by == EndedBy.FAILURE else row.rir


def _e1rm_kg(row: _Done) -> float | None:
    rir = _rir(row)
    if row.measure != Measure.REPS or not row.reps or rir is None or not row.load_thousandths:
        return None
    if row.load_basis not in WHOLE_LOADS:
        return None
    ended_by_pain = row.ended_by == EndedBy.PAIN
    if not strength.is_valid_for_1rm(row.reps, rir, ended_by_pain=ended_by_pain, is_fresh=True):
        return None
    return strength.estimated_1rm(float(row.load_kg), row.reps, rir)
