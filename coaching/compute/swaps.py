"""Other exercises for the same muscles that ask less of a joint, and what would be lost with each."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from coaching.compute.exercise_profile import ExerciseProfile, muscle_role

METHOD = "shared_muscles_and_joint_stress"
VERSION = "1"
LEAST_DIRECT_KEPT = 1.0


@dataclass(frozen=True, slots=True)
class Forbidden:
    """What the client's standing restrictions forbid: exercises by code, and whole movement patterns."""

    codes: frozenset[str] = frozenset()
    patterns: frozenset[str] = frozenset()


NOTHING_FORBIDDEN = Forbidden()


@dataclass(frozen=True, slots=True)
class StressChange:
    """Joint stress of the exercise and of the other one, for a joint where they differ."""

    joint: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class WordChange:
    """A property in which the two differ, and the words before and after."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Swap:
    """One exercise that could stand in for another.

    Attributes:
        code: the exercise.
        stress_before, stress_after: joint stress of the joint that is to be spared.
        share_kept: share of the muscle roles (direct 1, indirect 0.5) that it keeps, 0 to 1.
        direct_lost: muscles that were direct and are no longer; they may still be indirect.
        indirect_lost: muscles that were indirect and have no role any more.
        direct_gained: muscles that are direct now and were not.
        indirect_gained: muscles that are indirect now and had no role.
        other_stress: sum of the joint stress over the client's other guarded joints.
        stress_changes: every joint whose stress differs, in order of name, the named one included.
        word_changes: movement pattern, equipment, measure, compound, one-sided, where they differ.
    """

    code: str
    stress_before: float
    stress_after: float
    share_kept: float
    direct_lost: tuple[str, ...]
    indirect_lost: tuple[str, ...]
    direct_gained: tuple[str, ...]
    indirect_gained: tuple[str, ...]
    other_stress: float
    stress_changes: tuple[StressChange, ...]
    word_changes: tuple[WordChange, ...]


def find_swaps(
    exercise: ExerciseProfile,
    others: Iterable[ExerciseProfile],
    joint: str,
    *,
    guarded_joints: Collection[str] = (),
    forbidden: Forbidden = NOTHING_FORBIDDEN,
    least_direct_kept: float = LEAST_DIRECT_KEPT,
) -> tuple[Swap, ...]:
    """Find exercises that train the same direct muscles and ask less of a joint.

    Args:
        exercise: what is done now.
        others: exercises to choose from; the same code is passed over.
        joint: joint to be spared.
        guarded_joints: joints of the client that are guarded; the named one does not count twice.
        forbidden: what the client's restrictions forbid.
        least_direct_kept: share of the direct muscles, above 0 and at most 1, that must stay direct; all of
            them unless it is lowered for a wider choice.

    Returns:
        Swaps, best first: least stress on the joint, then most of the muscle roles kept, then least stress on
        the other guarded joints, then the same movement pattern, then the same equipment, then by code. Empty
        where the exercise asks nothing of the joint or has no direct muscle.

    Raises:
        ValueError: least_direct_kept is out of range.

    Notes:
        It lists what can be had and what it costs; whether to swap, and to what load, is the coach's to say.
        Joint stress is a judgement of each exercise as usually done.

    Source:
        Order and share: coach judgement.

    >>> squat = ExerciseProfile("squat", frozenset({"quadriceps"}), frozenset({"glutes"}), {"knee": 1})
    >>> hold = ExerciseProfile("hold", frozenset({"quadriceps"}), frozenset(), {"knee": 0.5})
    >>> [(swap.code, swap.stress_after, swap.indirect_lost) for swap in find_swaps(squat, [hold], "knee")]
    [('hold', 0.5, ('glutes',))]
    """
    if not 0 < least_direct_kept <= 1:
        raise ValueError(f"least_direct_kept must be above 0 and at most 1, got {least_direct_kept}")
    elsewhere = set(guarded_joints) - {joint}
    fitting = {
        other.code: other
        for other in others
        if _is_allowed(other, forbidden) and _spares(exercise, other, joint, least_direct_kept)
    }
    swaps = [(_swap(exercise, other, joint, elsewhere), other) for other in fitting.values()]
    return tuple(swap for swap, _ in sorted(swaps, key=lambda pair: _rank(exercise, *pair)))


def _is_allowed(other: ExerciseProfile, forbidden: Forbidden) -> bool:
    return other.code not in forbidden.codes and other.movement_pattern not in forbidden.patterns


def _spares(exercise: ExerciseProfile, other: ExerciseProfile, joint: str, least_direct_kept: float) -> bool:
    if other.code == exercise.code or not exercise.direct:
        return False
    kept = len(exercise.direct & other.direct) / len(exercise.direct)
    return kept >= least_direct_kept and other.stress.get(joint, 0.0) < exercise.stress.get(joint, 0.0)


def _rank(
    exercise: ExerciseProfile, swap: Swap, other: ExerciseProfile
) -> tuple[float, float, float, bool, bool, str]:
    return (
        swap.stress_after,
        -swap.share_kept,
        swap.other_stress,
        other.movement_pattern != exercise.movement_pattern,
        other.equipment != exercise.equipment,
        other.code,
    )


def _swap(exercise: ExerciseProfile, other: ExerciseProfile, joint: str, elsewhere: Collection[str]) -> Swap:
    had, has = exercise.direct | exercise.indirect, other.direct | other.indirect
    return Swap(
        code=other.code,
        stress_before=exercise.stress.get(joint, 0.0),
        stress_after=other.stress.get(joint, 0.0),
        share_kept=_share_kept(exercise, other),
        direct_lost=tuple(sorted(exercise.direct - other.direct)),
        indirect_lost=tuple(sorted(exercise.indirect - exercise.direct - has)),
        direct_gained=tuple(sorted(other.direct - exercise.direct)),
        indirect_gained=tuple(sorted(other.indirect - other.direct - had)),
        other_stress=float(sum(other.stress.get(each, 0.0) for each in sorted(elsewhere))),
        stress_changes=_stress_changes(exercise.stress, other.stress),
        word_changes=_word_changes(exercise, other),
    )


def _share_kept(exercise: ExerciseProfile, other: ExerciseProfile) -> float:
    muscles = sorted(exercise.direct | exercise.indirect)
    kept = sum(min(muscle_role(exercise, muscle), muscle_role(other, muscle)) for muscle in muscles)
    return kept / sum(muscle_role(exercise, muscle) for muscle in muscles)


def _stress_changes(before: Mapping[str, float], after: Mapping[str, float]) -> tuple[StressChange, ...]:
    changes = (
        StressChange(joint, before.get(joint, 0.0), after.get(joint, 0.0))
        for joint in sorted(before.keys() | after.keys())
    )
    return tuple(change for change in changes if change.before != change.after)


def _word_changes(exercise: ExerciseProfile, other: ExerciseProfile) -> tuple[WordChange, ...]:
    pairs = (
        ("movement_pattern", exercise.movement_pattern, other.movement_pattern),
        ("equipment", exercise.equipment, other.equipment),
        ("measure", exercise.measure, other.measure),
        ("joints_moved", _joints_moved(exercise), _joints_moved(other)),
        ("sides_at_once", _sides_at_once(exercise), _sides_at_once(other)),
    )
    return tuple(WordChange(what, before, after) for what, before, after in pairs if before != after)


def _joints_moved(exercise: ExerciseProfile) -> str:
    return "compound" if exercise.is_compound else "single_joint"


def _sides_at_once(exercise: ExerciseProfile) -> str:
    return "one" if exercise.is_one_sided else "both"
