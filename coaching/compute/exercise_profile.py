"""What an exercise asks for: muscles, joints, pattern and equipment, as plans and swaps need it."""

from collections.abc import Mapping
from dataclasses import dataclass

from coaching.compute.exposure import DIRECT, INDIRECT


@dataclass(frozen=True, slots=True)
class ExerciseProfile:
    """One exercise as it counts for one client.

    Attributes:
        code: name that the catalogue knows it by.
        direct, indirect: muscles it trains directly and indirectly.
        stress: joint -> joint stress 0 to 1, the client's own where there is one; a joint left out sees none.
        movement_pattern, equipment, measure: words of the catalogue; measure is reps or duration.
        is_compound: moves more than one joint.
        is_one_sided: done with one limb at a time.
    """

    code: str
    direct: frozenset[str]
    indirect: frozenset[str]
    stress: Mapping[str, float]
    movement_pattern: str = ""
    equipment: str = ""
    measure: str = "reps"
    is_compound: bool = False
    is_one_sided: bool = False


def muscle_role(exercise: ExerciseProfile, muscle: str) -> float:
    """Give the share of a set that counts for a muscle.

    Args:
        exercise: the exercise.
        muscle: word of the catalogue.

    Returns:
        1 for a direct muscle, 0.5 for an indirect one, else 0; a muscle named as both is direct.

    Source:
        Weights as in exposure.hard_sets_per_muscle.

    >>> press = ExerciseProfile("press", frozenset({"chest"}), frozenset({"triceps"}), {"shoulder": 1})
    >>> muscle_role(press, "chest"), muscle_role(press, "triceps"), muscle_role(press, "calves")
    (1.0, 0.5, 0.0)
    """
    if muscle in exercise.direct:
        return DIRECT
    return INDIRECT if muscle in exercise.indirect else 0.0
