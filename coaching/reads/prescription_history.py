"""What a client did for this very prescription, whichever version of a plan it stood in."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Q, QuerySet

from coaching.compute.joint_sides import sides_in_turn
from coaching.compute.prescribing import PerformedSet
from coaching.compute.units import load_kg_of
from coaching.models import (
    Block,
    BlockKind,
    Client,
    EndedBy,
    LoggedSet,
    Prescription,
    ScheduledSession,
    SetKind,
)
from coaching.reads.answered import Answered
from coaching.reads.labels import FRESH

LOOK_BACK_DAYS = 365
MOST_EXPOSURES = 12


@dataclass(frozen=True, slots=True)
class PrescriptionKey:
    """What makes two prescriptions the same one to train: its numbers never mix with those of another."""

    exercise_id: int
    side: str
    track: str
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class DoneExposure:
    """The work sets of one day of a prescription, in order; loads still to be confirmed are left out."""

    day_on: date
    sets: tuple[PerformedSet, ...]
    tempo: str
    rest_s: int | None
    is_deload: bool


@dataclass(frozen=True, slots=True)
class PrescriptionHistory:
    """Exposures from before the session, oldest first, and the sets done for the session itself."""

    exposures: Mapping[PrescriptionKey, tuple[DoneExposure, ...]]
    done: Mapping[PrescriptionKey, tuple[PerformedSet, ...]]


def key_of(row: Prescription, block: Block) -> PrescriptionKey:
    """The second half of a back-to-back block is a lift of its own, named by the exercise it follows."""
    track = FRESH
    if block.kind == BlockKind.BACK_TO_BACK:
        before = [each for each in block.prescriptions.all() if each.position < row.position]
        track = f"after:{before[-1].exercise.code}" if before else FRESH
    return PrescriptionKey(
        exercise_id=row.exercise_id,
        side=row.side,
        track=track,
        low=row.duration_s or row.reps_low or 0,
        high=row.duration_s or row.reps_high or 0,
    )


def prescription_history(
    *, client: Client, scheduled: ScheduledSession, exercise_ids: Iterable[int], before_on: date
) -> PrescriptionHistory:
    """The newest exposures of each prescription of these exercises; a constant number of queries."""
    rows = [
        *_work_sets(client, exercise_ids).filter(
            session__performed_on__gte=before_on - timedelta(days=LOOK_BACK_DAYS),
            session__performed_on__lt=before_on,
        ).exclude(session__scheduled_session=scheduled),
        *_work_sets(client, exercise_ids).filter(session__scheduled_session=scheduled),
    ]  # fmt: skip
    answers = _answers(rows)
    days: defaultdict[PrescriptionKey, defaultdict[date, list[LoggedSet]]]
    days = defaultdict(lambda: defaultdict(list))
    done: defaultdict[PrescriptionKey, list[PerformedSet]] = defaultdict(list)
    for row in rows:
        key = answers.key_of(row)
        if key is None:
            continue
        if row.session.scheduled_session_id == scheduled.id:
            done[key].append(_performed(row))
        else:
            days[key][row.session.performed_on].append(row)
    return PrescriptionHistory(
        exposures={key: _newest(of_days) for key, of_days in days.items()},
        done={key: tuple(sets) for key, sets in done.items()},
    )


def _work_sets(client: Client, exercise_ids: Iterable[int]) -> QuerySet[LoggedSet]:
    return (
        LoggedSet.objects.filter(
            session__client=client,
            session__deleted_at__isnull=True,
            exercise_id__in=exercise_ids,
            kind=SetKind.WORK,
            is_to_confirm=False,
        )
        .select_related("session__scheduled_session")
        .order_by("session__performed_at", "session_id", "position")
    )


@dataclass(frozen=True, slots=True)
class _Answers:
    """What each logged set answers, by the prescription it names or by the plan day of its session."""

    named: Mapping[int, Prescription]
    of_day: Mapping[int, Answered[Prescription]]

    def key_of(self, row: LoggedSet) -> PrescriptionKey | None:
        """None for an alternative, for another side, and for what was prescribed nowhere."""
        found = self.named.get(row.prescription_id or 0)
        if row.prescription_id is None and row.session.scheduled_session is not None:
            of_day = self.of_day.get(row.session.scheduled_session.plan_day_id)
            found = None if of_day is None else of_day.by(None, row.exercise_id, row.side)
        if found is None or found.exercise_id != row.exercise_id or row.side not in _sides_answered(found):
            return None
        return key_of(found, found.block)


def _sides_answered(row: Prescription) -> tuple[str, ...]:
    """One-sided work of both sides is logged side by side, or as a set of both."""
    turns = sides_in_turn(row.side, is_one_sided=row.exercise.is_one_sided)
    return turns if len(turns) == 1 else (*turns, row.side)


def _answers(rows: Sequence[LoggedSet]) -> _Answers:
    named = {row.prescription_id for row in rows}
    day_ids = {
        row.session.scheduled_session.plan_day_id
        for row in rows
        if row.prescription_id is None and row.session.scheduled_session is not None
    }
    found = (
        Prescription.objects.filter(Q(id__in=named - {None}) | Q(block__day_id__in=day_ids))
        .select_related("block", "exercise")
        .prefetch_related("block__prescriptions__exercise")
    )
    by_day: defaultdict[int, list[Prescription]] = defaultdict(list)
    for row in found:
        by_day[row.block.day_id].append(row)
    return _Answers(
        named={row.id: row for row in found},
        of_day={
            day: Answered.of(
                (each.id, each.exercise_id, side, each)
                for each in prescribed
                for side in _sides_answered(each)
            )
            for day, prescribed in by_day.items()
        },
    )


def _newest(of_days: Mapping[date, Sequence[LoggedSet]]) -> tuple[DoneExposure, ...]:
    return tuple(_exposure(day, of_days[day]) for day in sorted(of_days)[-MOST_EXPOSURES:])


def _exposure(day: date, rows: Sequence[LoggedSet]) -> DoneExposure:
    rests = [row.rest_s for row in rows if row.rest_s is not None]
    return DoneExposure(
        day_on=day,
        sets=tuple(_performed(row) for row in rows),
        tempo=next((row.tempo for row in rows if row.tempo), ""),
        rest_s=max(rests) if rests else None,
        is_deload=any(row.session.is_deload for row in rows),
    )


def _performed(row: LoggedSet) -> PerformedSet:
    load_kg: Decimal = load_kg_of(row.load_thousandths, row.load_unit)
    return PerformedSet(
        load_kg=load_kg,
        reps=row.reps,
        duration_s=row.duration_s,
        rir=row.rir,
        is_to_failure=row.ended_by == EndedBy.FAILURE,
        is_ended_by_pain=row.ended_by == EndedBy.PAIN,
    )
