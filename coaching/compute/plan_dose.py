"""What a week of a plan would do: joint reps and joint load of each site, hard sets of each muscle."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.effort import are_hard_sets
from coaching.compute.exercise_profile import ExerciseProfile, muscle_role
from coaching.compute.exposure import (
    BOTH,
    LEFT,
    RIGHT,
    hard_sets_per_muscle,
    sum_site_days,
)
from coaching.compute.joint_sides import REPS_OF_A_HOLD, sides_of_joint
from coaching.compute.plan_week import PlannedDay, PlannedSets, check_planned

Floats = NDArray[np.float64]

BELOW, WITHIN, ABOVE, BELOW_AND_ABOVE = "below", "within", "above", "below_and_above"


@dataclass(frozen=True, slots=True)
class SiteDose:
    """What a joint site would see in the week.

    Attributes:
        joint, side: the site; side is left, right or midline.
        joint_reps: at the high end of every range, warm-ups included.
        known_joint_load_kg: joint load of the sets whose load is known.
        unknown_load_share: share of the joint reps whose load is not known; nan where there are none.
    """

    joint: str
    side: str
    joint_reps: float
    known_joint_load_kg: float
    unknown_load_share: float

    @property
    def site(self) -> str:
        return f"{self.joint}:{self.side}"

    @property
    def joint_load_kg(self) -> float:
        """The whole joint load; nan where some of it is not known."""
        return self.known_joint_load_kg if self.unknown_load_share == 0 else float("nan")


@dataclass(frozen=True, slots=True)
class MuscleDose:
    """Hard sets of a muscle in the week, on either side of the body."""

    muscle: str
    left: float
    right: float

    @property
    def hard_sets(self) -> float:
        """Mean of both sides: 3 sets of each leg are 3 sets of the muscle, 3 sets of one leg are 1.5."""
        return (self.left + self.right) / 2


@dataclass(frozen=True, slots=True)
class WeekDose:
    """What a week of a plan would do.

    Attributes:
        sites: every site that sees a repetition, in the order of joint and side.
        muscles: every muscle that the plan's exercises train, in order of name, with 0 where no set is hard.
        work_sets: sets of the week; a one-sided set of each side is two.
        sets_of_unknown_effort: of these, sets that say neither failure nor a reserve; none counts as hard.
    """

    sites: tuple[SiteDose, ...]
    muscles: tuple[MuscleDose, ...]
    work_sets: int
    sets_of_unknown_effort: int


@dataclass(frozen=True, slots=True)
class JudgedSets:
    """Hard sets of a muscle against the coach's floor and ceiling.

    Attributes:
        muscle: the muscle.
        fewest, most: hard sets of the side with fewer and of the side with more.
        verdict: below, within, above, or below_and_above where the sides lie that far apart.
    """

    muscle: str
    fewest: float
    most: float
    verdict: str


@dataclass(frozen=True, slots=True)
class _Work:
    """Repetitions of one exercise on one side with one load."""

    exercise: ExerciseProfile
    side: str
    reps: float
    load_kg: float


def week_dose(days: Iterable[PlannedDay], *, max_rir: float = 4) -> WeekDose:
    """Add up what a week of a plan would ask of each joint site and each muscle.

    Args:
        days: the training days of one week.
        max_rir: largest reserve with which a set counts as hard; see effort.is_hard_set.

    Returns:
        WeekDose; empty for a week without training.

    Raises:
        ValueError: a prescription that cannot be counted (check_planned), or joint stress outside 0 to 1.

    Notes:
        Joint reps are counted at the high end, since they are held against a cap. A hold counts one
        repetition. One-sided work of both sides is counted as it will be logged: a set of the left and a set
        of the right, and so twice for a joint of the spine. Load is that in the hand; an exercise without
        one adds repetitions only.

    Source:
        Sums of exposure.sum_site_days and exposure.hard_sets_per_muscle; what counts: design choice.

    >>> from coaching.compute.plan_week import PlannedBlock
    >>> squat = ExerciseProfile("squat", frozenset({"quadriceps"}), frozenset({"glutes"}), {"knee": 1})
    >>> three = PlannedSets(exercise=squat, sets=3, reps_low=6, reps_high=10, rir=2, load_kg=80)
    >>> dose = week_dose([PlannedDay((PlannedBlock((three,)),))])
    >>> [(site.site, site.joint_reps, site.joint_load_kg) for site in dose.sites]
    [('knee:left', 30.0, 2400.0), ('knee:right', 30.0, 2400.0)]
    >>> [(muscle.muscle, muscle.hard_sets) for muscle in dose.muscles]
    [('glutes', 1.5), ('quadriceps', 3.0)]
    """
    rows = [row for day in days for row in day.rows]
    for row in rows:
        check_planned(row)
    sets_of = [row.sets * len(row.sides_in_turn) for row in rows]
    is_unknown = [not row.to_failure and np.isnan(row.rir) for row in rows]
    return WeekDose(
        sites=_site_doses([work for row in rows for work in _work_of(row)]),
        muscles=_muscle_doses(rows, max_rir),
        work_sets=sum(sets_of),
        sets_of_unknown_effort=sum(n for n, unknown in zip(sets_of, is_unknown, strict=True) if unknown),
    )


def judge_sets(
    hard_sets_by_muscle: Iterable[MuscleDose], *, floor: float | None = None, ceiling: float | None = None
) -> tuple[JudgedSets, ...]:
    """Hold the hard sets of each muscle against the coach's floor and ceiling.

    Args:
        hard_sets_by_muscle: as in WeekDose; a muscle that the plan leaves out is judged only if it is given
            with 0.
        floor: fewest hard sets a week that the coach wants; None = no floor.
        ceiling: most that the coach wants; None = no ceiling.

    Returns:
        One JudgedSets for each muscle in the order given: the side with fewer is held against the floor, the
        side with more against the ceiling; at either of them is within.

    Raises:
        ValueError: floor or ceiling is below 0 or nan, or the floor lies above the ceiling.

    Source:
        Floor and ceiling are the coach's own: coach judgement.

    >>> [judged.verdict for judged in judge_sets([MuscleDose("chest", 3, 3)], floor=4, ceiling=10)]
    ['below']
    """
    low, high = 0.0 if floor is None else floor, float("inf") if ceiling is None else ceiling
    for name, bound in (("floor", low), ("ceiling", high)):
        if not bound >= 0:
            raise ValueError(f"{name} must be 0 or more, got {bound}")
    if low > high:
        raise ValueError(f"floor must not lie above ceiling, got {low} and {high}")
    return tuple(_judged(dose, low, high) for dose in hard_sets_by_muscle)


def _judged(dose: MuscleDose, floor: float, ceiling: float) -> JudgedSets:
    fewest, most = sorted((dose.left, dose.right))
    verdicts = {(False, False): WITHIN, (True, False): BELOW, (False, True): ABOVE}
    verdict = verdicts.get((fewest < floor, most > ceiling), BELOW_AND_ABOVE)
    return JudgedSets(muscle=dose.muscle, fewest=fewest, most=most, verdict=verdict)


def _work_of(row: PlannedSets) -> Iterator[_Work]:
    """The work sets and the warm-up of a prescription, side by side."""
    a_set = REPS_OF_A_HOLD if row.reps_high is None else row.reps_high
    for side in row.sides_in_turn:
        yield _Work(row.exercise, side, row.sets * a_set, row.load_kg)
        for step in row.warm_up:
            yield _Work(row.exercise, side, step.reps, step.share * row.load_kg)


def _site_doses(work: Sequence[_Work]) -> tuple[SiteDose, ...]:
    joints = sorted({joint for each in work for joint in each.exercise.stress})
    sites = [(joint, side) for joint in joints for side in sides_of_joint(joint)]
    if not sites:
        return ()
    stress = np.array([[each.exercise.stress.get(joint, 0.0) for joint, _ in sites] for each in work])
    reps = np.array([each.reps for each in work], dtype=np.float64)
    load_kg = np.array([each.load_kg for each in work], dtype=np.float64)
    days = np.zeros(len(work), dtype=np.int64)
    set_sides, site_sides = [each.side for each in work], [side for _, side in sites]
    week = sum_site_days(days, set_sides, reps, load_kg, stress, site_sides, n_days=1)
    unknown = sum_site_days(
        days, set_sides, np.where(np.isnan(load_kg), reps, 0.0), load_kg, stress, site_sides, n_days=1
    )
    return tuple(
        SiteDose(
            joint=joint,
            side=side,
            joint_reps=float(seen),
            known_joint_load_kg=float(load),
            unknown_load_share=float(without_load / seen),
        )
        for (joint, side), seen, load, without_load in zip(
            sites, week.joint_reps[:, 0], week.joint_load_kg[:, 0], unknown.joint_reps[:, 0], strict=True
        )
        if seen > 0
    )


def _muscle_doses(rows: Sequence[PlannedSets], max_rir: float) -> tuple[MuscleDose, ...]:
    muscles = sorted({muscle for row in rows for muscle in row.exercise.direct | row.exercise.indirect})
    left, right = (_hard_sets(rows, muscles, side, max_rir) for side in (LEFT, RIGHT))
    return tuple(
        MuscleDose(muscle=muscle, left=float(on_left), right=float(on_right))
        for muscle, on_left, on_right in zip(muscles, left, right, strict=True)
    )


def _hard_sets(rows: Sequence[PlannedSets], muscles: Sequence[str], side: str, max_rir: float) -> Floats:
    """Hard sets of the muscles of one side; a set of both sides is one set of either."""
    counted = [row for row in rows if row.side in (BOTH, side)]
    is_hard = are_hard_sets(
        [row.rir for row in counted],
        to_failure=[row.to_failure for row in counted],
        share_of_1rm=[row.share_of_1rm for row in counted],
        max_rir=max_rir,
    )
    roles = np.array(
        [[muscle_role(row.exercise, muscle) for muscle in muscles] for row in counted], dtype=np.float64
    ).reshape(len(counted), len(muscles))
    sets = np.array([row.sets for row in counted], dtype=np.int64)
    return hard_sets_per_muscle(np.repeat(is_hard, sets), np.repeat(roles, sets, axis=0))
