"""A week of a plan as computing takes it: days of blocks of prescribed sets."""

import math
from dataclasses import dataclass

from coaching.compute.exercise_profile import ExerciseProfile
from coaching.compute.exposure import BOTH, LEFT, RIGHT
from coaching.compute.joint_sides import sides_in_turn
from coaching.compute.warm_up import RampStep

SIDES = (LEFT, RIGHT, BOTH)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSets:
    """What one prescription asks for.

    Attributes:
        exercise: what is done.
        sets: work sets, for each side where the exercise is one-sided and side is both.
        reps_low, reps_high: the range of repetitions; None for a hold.
        duration_s: seconds of a hold; None for repetitions.
        side: left, right or both.
        to_failure: sets are taken to failure.
        rir: repetitions in reserve that are asked for; nan = not said.
        load_kg: load of the work sets as it would be logged, 0 for an exercise without one; nan = not known.
        share_of_1rm: load / e1RM; nan = not known.
        tempo: as exposure.parse_tempo reads it; empty = not said.
        rest_s: rest after a set; None = the block's, and inside a back-to-back block none.
        warm_up: steps before the first work set, done once.
    """

    exercise: ExerciseProfile
    sets: int
    reps_low: int | None = None
    reps_high: int | None = None
    duration_s: int | None = None
    side: str = BOTH
    to_failure: bool = False
    rir: float = math.nan
    load_kg: float = math.nan
    share_of_1rm: float = math.nan
    tempo: str = ""
    rest_s: int | None = None
    warm_up: tuple[RampStep, ...] = ()

    @property
    def is_hold(self) -> bool:
        return self.duration_s is not None

    @property
    def sides_in_turn(self) -> tuple[str, ...]:
        """One-sided work of both sides is a set of the left and a set of the right."""
        return sides_in_turn(self.side, is_one_sided=self.exercise.is_one_sided)


@dataclass(frozen=True, slots=True)
class PlannedBlock:
    """Prescriptions done one after the other, or set by set in turn where the block is back-to-back.

    Attributes:
        rows: the prescriptions in order.
        rest_s: rest after a set, or after a round of a back-to-back block.
        is_back_to_back: the rows alternate set by set, with no rest between them.
    """

    rows: tuple[PlannedSets, ...]
    rest_s: int = 120
    is_back_to_back: bool = False


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """One training day of the week."""

    blocks: tuple[PlannedBlock, ...]

    @property
    def rows(self) -> tuple[PlannedSets, ...]:
        return tuple(row for block in self.blocks for row in block.rows)


def check_planned(row: PlannedSets) -> None:
    """Refuse a prescription that cannot be counted.

    Args:
        row: the prescription.

    Raises:
        ValueError: no set, neither or both of repetitions and seconds, a range upside down, an unknown side,
            or a number below 0.

    Source:
        The same rules as for a stored plan: design choice.

    >>> squat = ExerciseProfile("squat", frozenset({"quadriceps"}), frozenset(), {"knee": 1})
    >>> check_planned(PlannedSets(exercise=squat, sets=3, reps_low=6, reps_high=10))
    """
    if row.sets < 1:
        raise ValueError(f"sets must be 1 or more, got {row.sets}")
    if row.side not in SIDES:
        raise ValueError(f"side must be one of {', '.join(SIDES)}, got {row.side}")
    if (row.reps_low is None) != (row.reps_high is None) or (row.reps_high is None) != row.is_hold:
        raise ValueError(
            f"reps_low must come with reps_high, or else duration_s, "
            f"got {row.reps_low}, {row.reps_high} and {row.duration_s}"
        )
    if row.reps_low is not None and row.reps_high is not None and not 1 <= row.reps_low <= row.reps_high:
        raise ValueError(f"reps_low must lie in 1 to reps_high, got {row.reps_low} to {row.reps_high}")
    if row.duration_s is not None and row.duration_s < 1:
        raise ValueError(f"duration_s must be 1 or more, got {row.duration_s}")
    _check_numbers(row)


def _check_numbers(row: PlannedSets) -> None:
    for name, number in (
        ("rir", row.rir),
        ("load_kg", row.load_kg),
        ("share_of_1rm", row.share_of_1rm),
        ("rest_s", math.nan if row.rest_s is None else row.rest_s),
    ):
        if number < 0 or math.isinf(number):
            raise ValueError(f"{name} must be finite and 0 or more, or not known, got {number}")
