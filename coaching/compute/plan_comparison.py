"""Two plans side by side: what each would ask of the muscles and of the joints."""

import math
from collections.abc import Collection
from dataclasses import dataclass

from coaching.compute.plan_dose import MuscleDose, SiteDose, WeekDose

SETS_TOLERANCE = 0.5
REPS_TOLERANCE = 0.05
TOLD_AS_TIMES = 2


@dataclass(frozen=True, slots=True)
class MuscleDifference:
    """Hard sets of a muscle in either plan.

    Attributes:
        muscle: the muscle.
        a, b: hard sets a week, the mean of both sides; see plan_dose.MuscleDose.
        difference: b less a.
        sides_apart: the larger difference of the two sides, so that more on one does not hide less on the
            other.
    """

    muscle: str
    a: float
    b: float
    difference: float
    sides_apart: float


@dataclass(frozen=True, slots=True)
class SiteDifference:
    """What either plan asks of a site.

    Attributes:
        joint, side: the site.
        joint_reps_a, joint_reps_b: weekly joint reps.
        joint_reps_ratio: b over a; nan where plan a asks nothing.
        joint_load_a_kg, joint_load_b_kg: weekly joint load; nan where a load is not known.
        joint_load_ratio: b over a; nan where either is not known, or plan a asks nothing.
        is_same: joint reps are the same within the tolerance.
    """

    joint: str
    side: str
    joint_reps_a: float
    joint_reps_b: float
    joint_reps_ratio: float
    joint_load_a_kg: float
    joint_load_b_kg: float
    joint_load_ratio: float
    is_same: bool

    @property
    def site(self) -> str:
        return f"{self.joint}:{self.side}"


@dataclass(frozen=True, slots=True)
class PlanComparison:
    """Two plans side by side.

    Attributes:
        muscles: every muscle that either plan trains, in order of name.
        sites: every site that either plan loads, in the order of joint and side.
        is_same_hard_sets: the hard sets of every muscle are the same within the tolerance.
        is_same_joint_reps: the joint reps of every site are the same within the tolerance.
        statement: the comparison in words, with its numbers.
    """

    muscles: tuple[MuscleDifference, ...]
    sites: tuple[SiteDifference, ...]
    is_same_hard_sets: bool
    is_same_joint_reps: bool
    statement: str


def compare_plans(
    a: WeekDose,
    b: WeekDose,
    *,
    name_a: str = "plan A",
    name_b: str = "plan B",
    guarded_sites: Collection[str] = (),
    sets_tolerance: float = SETS_TOLERANCE,
    reps_tolerance: float = REPS_TOLERANCE,
) -> PlanComparison:
    """Set two weeks of training side by side.

    Args:
        a, b: what either week would do, from plan_dose.week_dose.
        name_a, name_b: how the statement calls them.
        guarded_sites: sites like knee:left of which the statement speaks first, where they differ.
        sets_tolerance: hard sets a week by which either side of a muscle may differ and still be the same.
        reps_tolerance: share of the larger by which joint reps may differ and still be the same.

    Returns:
        PlanComparison. What a plan leaves out counts 0.

    Raises:
        ValueError: a tolerance is below 0 or nan.

    Notes:
        It says what is asked, not what is better, and nothing about the chance of an injury.

    Source:
        Design choice; tolerances are coach judgement.

    >>> def week(joint_reps):
    ...     knee = SiteDose("knee", "left", joint_reps, 0.0, 1.0)
    ...     return WeekDose((knee,), (MuscleDose("quadriceps", 6, 6),), 6, 0)
    >>> compare_plans(week(60), week(180)).statement
    'Both plans give every muscle the same hard sets a week, within 0.5, but not the same joint reps: of the \
left knee plan A asks 60 a week and plan B 180 (3 times as many).'
    """
    for name, tolerance in (("sets_tolerance", sets_tolerance), ("reps_tolerance", reps_tolerance)):
        if not tolerance >= 0:
            raise ValueError(f"{name} must be 0 or more, got {tolerance}")
    pairs = _muscle_pairs(a, b)
    muscles = tuple(_muscle_difference(*pair) for pair in pairs)
    sites = tuple(_site_difference(*pair, reps_tolerance) for pair in _site_pairs(a, b))
    is_same_sets = all(muscle.sides_apart <= sets_tolerance for muscle in muscles)
    is_same_reps = all(site.is_same for site in sites)
    return PlanComparison(
        muscles=muscles,
        sites=sites,
        is_same_hard_sets=is_same_sets,
        is_same_joint_reps=is_same_reps,
        statement=_statement(
            pairs,
            _to_tell(sites, guarded_sites),
            is_same_sets,
            is_same_reps,
            (name_a, name_b),
            sets_tolerance,
        ),
    )


def _muscle_pairs(a: WeekDose, b: WeekDose) -> list[tuple[MuscleDose, MuscleDose]]:
    in_a, in_b = ({dose.muscle: dose for dose in week.muscles} for week in (a, b))
    return [
        (in_a.get(muscle, MuscleDose(muscle, 0.0, 0.0)), in_b.get(muscle, MuscleDose(muscle, 0.0, 0.0)))
        for muscle in sorted(in_a.keys() | in_b.keys())
    ]


def _site_pairs(a: WeekDose, b: WeekDose) -> list[tuple[SiteDose, SiteDose]]:
    in_a, in_b = ({(dose.joint, dose.side): dose for dose in week.sites} for week in (a, b))
    return [
        (in_a.get(key, SiteDose(*key, 0.0, 0.0, 0.0)), in_b.get(key, SiteDose(*key, 0.0, 0.0, 0.0)))
        for key in sorted(in_a.keys() | in_b.keys())
    ]


def _muscle_difference(a: MuscleDose, b: MuscleDose) -> MuscleDifference:
    return MuscleDifference(
        muscle=a.muscle,
        a=a.hard_sets,
        b=b.hard_sets,
        difference=b.hard_sets - a.hard_sets,
        sides_apart=max(abs(b.left - a.left), abs(b.right - a.right)),
    )


def _site_difference(a: SiteDose, b: SiteDose, tolerance: float) -> SiteDifference:
    larger = max(a.joint_reps, b.joint_reps)
    return SiteDifference(
        joint=a.joint,
        side=a.side,
        joint_reps_a=a.joint_reps,
        joint_reps_b=b.joint_reps,
        joint_reps_ratio=_ratio(a.joint_reps, b.joint_reps),
        joint_load_a_kg=a.joint_load_kg,
        joint_load_b_kg=b.joint_load_kg,
        joint_load_ratio=_ratio(a.joint_load_kg, b.joint_load_kg),
        is_same=abs(b.joint_reps - a.joint_reps) <= tolerance * larger,
    )


def _to_tell(sites: tuple[SiteDifference, ...], guarded: Collection[str]) -> tuple[SiteDifference, ...]:
    """The guarded sites that differ; all where none does."""
    return tuple(site for site in sites if site.site in guarded and not site.is_same) or sites


def _ratio(a: float, b: float) -> float:
    return b / a if a > 0 else math.nan


def _statement(
    pairs: list[tuple[MuscleDose, MuscleDose]],
    sites: tuple[SiteDifference, ...],
    is_same_sets: bool,
    is_same_reps: bool,
    names: tuple[str, str],
    sets_tolerance: float,
) -> str:
    if not pairs and not sites:
        return "Neither plan has any work to compare."
    within = f"the same hard sets a week, within {sets_tolerance:g}"
    if is_same_sets and is_same_reps:
        return f"Both plans give every muscle {within}, and ask the same joint reps of every joint."
    if is_same_sets:
        apart = _most_apart(sites, names)
        return f"Both plans give every muscle {within}, but not the same joint reps: {apart}."
    sets = f"The hard sets differ, most for {_widest(pairs, names)}"
    if is_same_reps:
        return f"{sets}. The joint reps are the same."
    return f"{sets}. The joint reps differ too: {_most_apart(sites, names)}."


def _widest(pairs: list[tuple[MuscleDose, MuscleDose]], names: tuple[str, str]) -> str:
    """The muscle whose hard sets lie furthest apart on one side; the first by name where several do."""
    a, b = min(pairs, key=lambda pair: (-_muscle_difference(*pair).sides_apart, pair[0].muscle))
    muscle = _words(a.muscle)
    if a.left == a.right and b.left == b.right:
        return f"the {muscle}: {names[0]} gives {a.left:g} a week and {names[1]} {b.left:g}"
    return (
        f"the {muscle}: {names[0]} gives {a.left:g} a week on the left and {a.right:g} on the right, "
        f"{names[1]} {b.left:g} and {b.right:g}"
    )


def _most_apart(sites: tuple[SiteDifference, ...], names: tuple[str, str]) -> str:
    """The site whose joint reps lie furthest apart; the first by name where several do."""
    site = min(sites, key=lambda each: (-abs(each.joint_reps_b - each.joint_reps_a), each.site))
    text = (
        f"of the {_site_words(site)} {names[0]} asks {site.joint_reps_a:g} a week "
        f"and {names[1]} {site.joint_reps_b:g}"
    )
    return f"{text}{_times(site.joint_reps_ratio)}"


def _times(ratio: float) -> str:
    """How many times as many, or by which share more or fewer; nothing where one plan asks none."""
    if math.isnan(ratio) or ratio == 0:
        return ""
    if ratio >= TOLD_AS_TIMES:
        return f" ({round(ratio, 1):g} times as many)"
    word = "more" if ratio > 1 else "fewer"
    return f" ({round(100 * abs(ratio - 1), 1):g}% {word})"


def _site_words(site: SiteDifference) -> str:
    joint = _words(site.joint)
    return joint if site.side == "midline" else f"{site.side} {joint}"


def _words(code: str) -> str:
    return code.replace("_", " ")
