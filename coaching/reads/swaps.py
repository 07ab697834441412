"""Other exercises for the same muscles that ask less of a joint, ranked, for a practice or one client."""

from dataclasses import dataclass
from datetime import date

from django.db.models import F

from coaching.compute.swaps import METHOD, NOTHING_FORBIDDEN, VERSION, Forbidden, Swap, find_swaps
from coaching.models import Client, Exercise, Injury, Joint, Restriction, RestrictionKind
from coaching.reads.catalogue import exercise_named
from coaching.reads.computed import Computed
from coaching.reads.exercise_profiles import exercise_profiles
from coaching.reads.labels import site_label
from coaching.reads.stress import practice_stresses, stresses_for


@dataclass(frozen=True, slots=True)
class SwapEntry:
    """One exercise that could stand in, and in words why it is here and what it costs."""

    exercise: Exercise
    swap: Swap
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Swaps:
    """`left_out` are codes of what the client's restrictions forbid, `guarded` the other joints minded."""

    exercise: Exercise
    joint: str
    side: str
    stress_now: float
    entries: tuple[SwapEntry, ...]
    left_out: tuple[str, ...]
    guarded: tuple[str, ...]
    sentence: str
    computed: Computed


def swaps_for(
    *, practice_id: int, code: str, joint: str, side: str, client: Client | None, today: date
) -> Swaps:
    """Exercises that the practice knows, best first; constant queries. Raises NotFoundError.

    With a client: by their own joint stress, without what a restriction of today forbids, and with their
    other guarded joints minded.
    """
    exercise = exercise_named(practice_id, code)
    known = _known_to(practice_id)
    profiles = exercise_profiles(known.values(), _stresses(practice_id, client, known))
    guarded, forbidden = ((), NOTHING_FORBIDDEN) if client is None else _history(client, today)
    now, others = profiles[exercise.id], list(profiles.values())
    found = find_swaps(now, others, joint, guarded_joints=guarded, forbidden=forbidden)
    allowed = {swap.code for swap in found}
    without_restrictions = find_swaps(now, others, joint, guarded_joints=guarded)
    stress_now = now.stress.get(joint, 0.0)
    entries = tuple(_entry(known[swap.code], swap, joint) for swap in found)
    return Swaps(
        exercise=exercise,
        joint=joint,
        side=side,
        stress_now=stress_now,
        entries=entries,
        left_out=tuple(swap.code for swap in without_restrictions if swap.code not in allowed),
        guarded=tuple(sorted(set(guarded) - {joint})),
        sentence=_sentence(exercise, f"{joint}:{side}", stress_now, len(entries)),
        computed=Computed(METHOD, VERSION, until_on=today),
    )


def _known_to(practice_id: int) -> dict[str, Exercise]:
    """Code -> exercise; the practice's own entry wins over the catalogue's."""
    rows = Exercise.objects.known_to(practice_id).order_by(F("practice_id").asc(nulls_first=True))
    return {row.code: row for row in rows}


def _stresses(
    practice_id: int, client: Client | None, known: dict[str, Exercise]
) -> dict[int, dict[str, float]]:
    ids = [row.id for row in known.values()]
    if client is not None:
        return stresses_for(practice_id=practice_id, client_id=client.id, exercise_ids=ids)
    standing = practice_stresses(practice_id=practice_id, exercise_ids=ids)
    return {
        exercise_id: {joint: row.stress for joint, row in joints.items() if row.stress > 0}
        for exercise_id, joints in standing.items()
    }


def _history(client: Client, today: date) -> tuple[tuple[str, ...], Forbidden]:
    """The client's guarded joints, and what stands against an exercise today."""
    guarded = Injury.objects.filter(client=client).guarding().exclude(joint=Joint.OTHER)
    rows = Restriction.objects.filter(injury__client=client).standing(today).select_related("exercise")
    return (
        tuple(sorted(set(guarded.values_list("joint", flat=True)))),
        Forbidden(
            codes=frozenset(
                row.exercise.code
                for row in rows
                if row.kind == RestrictionKind.AVOID_EXERCISE and row.exercise is not None
            ),
            patterns=frozenset(
                row.movement_pattern for row in rows if row.kind == RestrictionKind.AVOID_PATTERN
            ),
        ),
    )


def _entry(exercise: Exercise, swap: Swap, joint: str) -> SwapEntry:
    return SwapEntry(exercise, swap, tuple(_reasons(swap, joint)))


def _reasons(swap: Swap, joint: str) -> list[str]:
    found = [
        f"asks {swap.stress_after:g} instead of {swap.stress_before:g} of the {_words(joint)}",
        f"keeps {round(100 * swap.share_kept)}% of the muscle roles",
    ]
    for muscles, what in (
        (swap.direct_lost, "no longer trains directly"),
        (swap.indirect_lost, "no longer trains"),
        (swap.direct_gained, "now trains directly"),
        (swap.indirect_gained, "now trains indirectly"),
    ):
        if muscles:
            found.append(f"{what}: {', '.join(_words(muscle) for muscle in muscles)}")
    for change in swap.stress_changes:
        if change.joint != joint and change.after > change.before:
            found.append(f"asks more of the {_words(change.joint)}: {change.after:g}, was {change.before:g}")
    return found


def _sentence(exercise: Exercise, site: str, stress_now: float, n_found: int) -> str:
    where = site_label(site)
    if stress_now == 0:
        return f"{exercise.name} asks nothing of the {where}, so there is nothing to spare."
    if n_found == 0:
        return (
            f"No exercise that may be used keeps the direct muscles of {exercise.name} and asks less of the "
            f"{where}."
        )
    return (
        f"{exercise.name} asks {stress_now:g} of the {where}; what asks less and keeps its direct muscles, "
        "best first. Whether to swap, and to what load, is yours to say."
    )


def _words(code: str) -> str:
    return code.replace("_", " ")
