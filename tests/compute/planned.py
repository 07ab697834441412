"""Short words for planned weeks in tests: exercises, prescriptions, days."""

from coaching.compute.exercise_profile import ExerciseProfile
from coaching.compute.plan_week import PlannedBlock, PlannedDay, PlannedSets


def exercise(code="squat", *, direct=("quadriceps",), indirect=(), stress=None, **traits) -> ExerciseProfile:
    return ExerciseProfile(
        code=code,
        direct=frozenset(direct),
        indirect=frozenset(indirect),
        stress={"knee": 1.0} if stress is None else stress,
        **traits,
    )


SQUAT = exercise(indirect=("glutes",), stress={"knee": 1.0, "lumbar_spine": 0.5})
SPLIT_SQUAT = exercise("split_squat", stress={"knee": 0.5, "lumbar_spine": 0.25}, is_one_sided=True)
HOLD = exercise("wall_sit", stress={"knee": 0.5})


def planned(what=SQUAT, sets=3, low=6, high=10, **said) -> PlannedSets:
    return PlannedSets(exercise=what, sets=sets, reps_low=low, reps_high=high, **said)


def held(what=HOLD, sets=3, duration_s=30, **said) -> PlannedSets:
    return PlannedSets(exercise=what, sets=sets, duration_s=duration_s, **said)


def day(*rows: PlannedSets, rest_s=120) -> PlannedDay:
    """Each prescription in a block of its own."""
    return PlannedDay(tuple(PlannedBlock((row,), rest_s=rest_s) for row in rows))


def pair(*rows: PlannedSets, rest_s=120) -> PlannedDay:
    return PlannedDay((PlannedBlock(rows, rest_s=rest_s, is_back_to_back=True),))
