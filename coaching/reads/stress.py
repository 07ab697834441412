"""Joint stress as it counts for one client: client over practice over catalogue."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.db.models import Q

from coaching.models import JointStress
from coaching.models.statements import asked

CATALOGUE, PRACTICE, CLIENT = "catalogue", "practice", "client"


@dataclass(frozen=True, slots=True)
class StandingStress:
    """The stress that holds for an exercise and a joint, and who set it."""

    joint: str
    stress: float
    reason: str
    basis: str
    source: str
    version: int | None = None  # of an override; the catalogue's own is not edited here


@dataclass(frozen=True, slots=True)
class StressTable:
    """Every client's standing stresses, read once: client id -> exercise id -> joint -> stress."""

    by_client: dict[int, dict[int, dict[str, StandingStress]]]

    def stresses_for(self, client_id: int) -> dict[int, dict[str, float]]:
        """Exercise id -> joint -> stress above zero."""
        return {
            exercise_id: {joint: row.stress for joint, row in joints.items() if row.stress > 0}
            for exercise_id, joints in self.by_client[client_id].items()
        }


def stress_table(
    *, practice_id: int, client_ids: Collection[int], exercise_ids: Collection[int]
) -> StressTable:
    """The standing stresses of these exercises for each of these clients, in one query."""
    rows = list(
        JointStress.objects.filter(exercise_id__in=exercise_ids)
        .filter(Q(practice__isnull=True) | Q(practice_id=practice_id))
        .filter(Q(client__isnull=True) | Q(client_id__in=client_ids))
    )
    shared = [row for row in rows if row.client_id is None]
    own: dict[int, list[JointStress]] = {client_id: [] for client_id in client_ids}
    for row in rows:
        if row.client_id is not None:
            own[row.client_id].append(row)
    return StressTable(
        {client_id: _resolve([*shared, *own[client_id]], exercise_ids) for client_id in client_ids}
    )


def stresses_for(
    *, practice_id: int, client_id: int, exercise_ids: Collection[int]
) -> dict[int, dict[str, float]]:
    """Exercise id -> joint -> stress for one client; zero entries left out, every exercise present."""
    standing: dict[int, dict[str, float]] = {exercise_id: {} for exercise_id in exercise_ids}
    if standing:
        for exercise_id, joint, stress in asked(STRESSES, [list(standing), practice_id, client_id]):
            standing[exercise_id][joint] = stress
    return {
        exercise_id: {joint: stress for joint, stress in joints.items() if stress > 0}
        for exercise_id, joints in standing.items()
    }


# The nearer to the client, the later it comes, and so the one that stands.
STRESSES = (
    "SELECT exercise_id, joint, stress FROM coaching_jointstress WHERE exercise_id = ANY(%s) "
    "AND (practice_id IS NULL OR practice_id = %s) AND (client_id IS NULL OR client_id = %s) "
    "ORDER BY client_id IS NOT NULL, practice_id IS NOT NULL, id"
)


def practice_stresses(
    *, practice_id: int, exercise_ids: Collection[int]
) -> dict[int, dict[str, StandingStress]]:
    """Exercise id -> joint -> what stands for the practice; zeros of overrides included."""
    rows = JointStress.objects.filter(exercise_id__in=exercise_ids, client__isnull=True).filter(
        Q(practice__isnull=True) | Q(practice_id=practice_id)
    )
    return _resolve(rows, exercise_ids)


def _resolve(
    rows: Iterable[JointStress], exercise_ids: Collection[int]
) -> dict[int, dict[str, StandingStress]]:
    standing: dict[int, dict[str, StandingStress]] = {exercise_id: {} for exercise_id in exercise_ids}
    for row in sorted(rows, key=_closeness):
        standing[row.exercise_id][row.joint] = StandingStress(
            row.joint,
            row.stress,
            row.reason,
            row.basis,
            _source(row),
            row.version if row.practice_id else None,
        )
    return standing


def _closeness(row: JointStress) -> int:
    """The nearer to the client, the later it comes, and so the one that stands."""
    return [CATALOGUE, PRACTICE, CLIENT].index(_source(row))


def _source(row: JointStress) -> str:
    if row.client_id is not None:
        return CLIENT
    return CATALOGUE if row.practice_id is None else PRACTICE
