"""What a plan would ask of one client, before it is theirs: joints, injury history, muscles, minutes."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan, nan

import numpy as np

from coaching.compute.plan_comparison import PlanComparison, compare_plans
from coaching.compute.plan_dose import MuscleDose, SiteDose, WeekDose, judge_sets, week_dose
from coaching.compute.plan_week import PlannedDay
from coaching.compute.session_length import session_length
from coaching.compute.tolerated import hold_against_tolerated
from coaching.models import Client, Injury, InjuryStatus, Membership, PlanDay, PlanVersion
from coaching.reads.catalogue import catalogue_vocabulary
from coaching.reads.computed import Computed
from coaching.reads.exercise_profiles import exercise_profiles
from coaching.reads.labels import site_label
from coaching.reads.laid_out import lay_out
from coaching.reads.plan_concerns import (
    OVER_CAP,
    STOPPED,
    Avoided,
    Concern,
    InjuryHistory,
    avoided_in,
    concerns_about,
    injury_history,
)
from coaching.reads.planned_days import planned_day
from coaching.reads.planned_loads import planned_loads
from coaching.reads.prescribed import prescriptions_of
from coaching.reads.stress import stresses_for
from coaching.reads.tolerated import ToleratedSite, tolerated_computed, tolerated_sites

METHOD, VERSION = "sums_of_a_planned_week", "1"
ABOVE_HIGHEST, ABOVE_REPEATED, NO_HISTORY = "above_highest", "above_repeated", "no_history"


@dataclass(frozen=True, slots=True)
class PreviewSite:
    """A site in an ordinary week of the plan, against its cap and what it has tolerated.

    `flags` are over_cap, stopped_by_clinician, above_highest, above_repeated, no_history.
    """

    dose: SiteDose
    is_guarded: bool
    cap: int | None
    cap_injury: Injury | None
    tolerated: ToleratedSite
    ratio_to_cap: float | None
    ratio_to_repeated: float | None
    flags: tuple[str, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class PreviewMuscle:
    """Hard sets of a muscle a week; the verdict is None where the coach set neither floor nor ceiling."""

    muscle: str
    left: float
    right: float
    verdict: str | None


@dataclass(frozen=True, slots=True)
class PreviewDay:
    """Minutes of a plan day at the low and at the high end of its ranges."""

    day: PlanDay
    low_min: float
    high_min: float


@dataclass(frozen=True, slots=True)
class PlanPreview:
    computed: Computed
    tolerated_computed: Computed
    version: PlanVersion
    starts_on: date
    sites: tuple[PreviewSite, ...]
    avoid: tuple[Avoided, ...]
    concerns: tuple[Concern, ...]
    muscles: tuple[PreviewMuscle, ...]
    weekly_sets_floor: float | None
    weekly_sets_ceiling: float | None
    work_sets: int
    sets_of_unknown_effort: int
    days: tuple[PreviewDay, ...]
    compared_with: PlanVersion | None
    comparison: PlanComparison | None

    @property
    def needs_override_reason(self) -> bool:
        return bool(self.concerns)


@dataclass(frozen=True, slots=True)
class _Week:
    days: tuple[PlanDay, ...]
    planned: tuple[PlannedDay, ...]
    dose: WeekDose


def plan_preview(
    *,
    client: Client,
    coach: Membership,
    version: PlanVersion,
    compare_with: PlanVersion | None,
    starts_on: date,
    today: date,
) -> PlanPreview:
    """Everything that a coach should know before assigning; the number of queries is constant.

    `coach` is whose floor and ceiling of hard sets count. Loads and history are those known today.
    """
    versions = [version] if compare_with is None else [version, compare_with]
    weeks = _weeks(client, versions, today)
    week = weeks[0]
    history = injury_history(client)
    laid_out = lay_out(version, starts_on)
    joint_reps = {site.site: site.joint_reps for site in week.dose.sites}
    other = None if compare_with is None else weeks[1].dose
    guarded = {row.target for row in history.injuries if row.is_guarding}
    return PlanPreview(
        computed=Computed(METHOD, VERSION, until_on=today),
        tolerated_computed=tolerated_computed(today - timedelta(days=1)),
        version=version,
        starts_on=starts_on,
        sites=_sites(client, week.dose, history, guarded, today),
        avoid=avoided_in(history, laid_out),
        concerns=concerns_about(history=history, laid_out=laid_out, weekly_joint_reps=joint_reps),
        muscles=_muscles(week.dose, coach),
        weekly_sets_floor=coach.weekly_sets_floor,
        weekly_sets_ceiling=coach.weekly_sets_ceiling,
        work_sets=week.dose.work_sets,
        sets_of_unknown_effort=week.dose.sets_of_unknown_effort,
        days=tuple(_day(*pair) for pair in zip(week.days, week.planned, strict=True)),
        compared_with=compare_with,
        comparison=None if other is None else _comparison(week.dose, other, versions, guarded),
    )


def _weeks(client: Client, versions: Sequence[PlanVersion], today: date) -> list[_Week]:
    """An ordinary week of each version, counted with the client's own joint stress."""
    days = [tuple(version.days.all()) for version in versions]
    rows = [row for of_version in days for day in of_version for row in prescriptions_of(day)]
    exercises = {row.exercise_id: row.exercise for row in rows}
    stresses = stresses_for(
        practice_id=client.practice_id, client_id=client.id, exercise_ids=exercises.keys()
    )
    profiles = exercise_profiles(exercises.values(), stresses)
    loads = planned_loads(client_id=client.id, days=[day for each in days for day in each], before=today)
    weeks = []
    for of_version in days:
        planned = tuple(planned_day(day, profiles, loads) for day in of_version)
        weeks.append(_Week(of_version, planned, week_dose(planned)))
    return weeks


def _sites(
    client: Client, dose: WeekDose, history: InjuryHistory, guarded: Collection[str], today: date
) -> tuple[PreviewSite, ...]:
    """The sites that the week loads, in order of name."""
    planned = {site.site: site for site in dose.sites}
    found = tolerated_sites(
        client_id=client.id,
        until_on=today - timedelta(days=1),
        also=planned.keys(),
        injuries=history.injuries,
    )
    caps = _lowest_caps(history.injuries)
    held = hold_against_tolerated(
        np.array(
            [planned[each.target].joint_reps if each.target in planned else 0.0 for each in found.sites]
        ),
        np.array([_cap_or_nan(caps.get(each.target)) for each in found.sites]),
        found.exposure,
    )
    stopped = {row.target for row in history.injuries if row.status == InjuryStatus.STOPPED_BY_CLINICIAN}
    return tuple(
        _site(
            planned[each.target],
            caps.get(each.target),
            each,
            is_guarded=each.target in guarded,
            flags={
                OVER_CAP: bool(held.is_over_cap[row]),
                STOPPED: each.target in stopped,
                ABOVE_HIGHEST: bool(held.is_above_highest[row]),
                ABOVE_REPEATED: bool(held.is_above_repeated[row]),
                NO_HISTORY: not held.has_history[row],
            },
            ratio_to_repeated=held.ratio_to_repeated[row],
        )
        for row, each in enumerate(found.sites)
        if each.target in planned
    )


def _cap_or_nan(injury: Injury | None) -> float:
    return nan if injury is None or injury.weekly_joint_reps_cap is None else injury.weekly_joint_reps_cap


def _lowest_caps(injuries: Collection[Injury]) -> Mapping[str, Injury]:
    """Site -> the injury with the lowest cap; the oldest of equals."""
    found: dict[str, tuple[int, Injury]] = {}
    for injury in injuries:
        cap = injury.weekly_joint_reps_cap
        if cap is not None and (injury.target not in found or cap < found[injury.target][0]):
            found[injury.target] = (cap, injury)
    return {target: injury for target, (_, injury) in found.items()}


def _site(
    dose: SiteDose,
    capping: Injury | None,
    tolerated: ToleratedSite,
    *,
    is_guarded: bool,
    flags: Mapping[str, bool],
    ratio_to_repeated: float,
) -> PreviewSite:
    cap = None if capping is None else capping.weekly_joint_reps_cap
    return PreviewSite(
        dose=dose,
        is_guarded=is_guarded,
        cap=cap,
        cap_injury=capping,
        tolerated=tolerated,
        ratio_to_cap=dose.joint_reps / cap if cap else None,
        ratio_to_repeated=None if isnan(ratio_to_repeated) else float(ratio_to_repeated),
        flags=tuple(flag for flag, is_raised in flags.items() if is_raised),
        sentence=_sentence(dose, cap, tolerated, flags),
    )


def _sentence(dose: SiteDose, cap: int | None, tolerated: ToleratedSite, flags: Mapping[str, bool]) -> str:
    against_cap = "it has no cap"
    if cap is not None:
        against_cap = f"{'over' if flags[OVER_CAP] else 'within'} its cap of {cap}"
    asked = f"An ordinary week asks {dose.joint_reps:g} joint reps of the {site_label(dose.site)}"
    stop = ["A clinician has stopped this site."] if flags[STOPPED] else []
    return " ".join([f"{asked}; {against_cap}.", *stop, _against_tolerated(tolerated, flags)])


def _against_tolerated(tolerated: ToleratedSite, flags: Mapping[str, bool]) -> str:
    if flags[NO_HISTORY]:
        return tolerated.sentence
    if flags[ABOVE_HIGHEST]:
        return f"That is more than any week that a quiet one followed ({tolerated.highest:g})."
    if tolerated.repeated is None:
        return f"One week of up to {tolerated.highest:g} was followed by a quiet one, but no second."
    if flags[ABOVE_REPEATED]:
        return (
            f"Weeks of up to {tolerated.repeated:g} were followed by quiet ones more than once, of up to "
            f"{tolerated.highest:g} once."
        )
    return f"Weeks of up to {tolerated.repeated:g} were followed by quiet ones more than once."


def _muscles(dose: WeekDose, coach: Membership) -> tuple[PreviewMuscle, ...]:
    """Every muscle of the catalogue, those that the plan leaves out with 0."""
    trained = {each.muscle: each for each in dose.muscles}
    names = sorted(catalogue_vocabulary().muscles | trained.keys())
    doses = [trained.get(name, MuscleDose(name, 0.0, 0.0)) for name in names]
    floor, ceiling = coach.weekly_sets_floor, coach.weekly_sets_ceiling
    is_judged = floor is not None or ceiling is not None
    judged = judge_sets(doses, floor=floor, ceiling=ceiling)
    return tuple(
        PreviewMuscle(each.muscle, each.left, each.right, found.verdict if is_judged else None)
        for each, found in zip(doses, judged, strict=True)
    )


def _day(day: PlanDay, planned: PlannedDay) -> PreviewDay:
    length = session_length(planned)
    return PreviewDay(day, round(length.low_min, 1), round(length.high_min, 1))


def _comparison(
    a: WeekDose, b: WeekDose, versions: Sequence[PlanVersion], guarded: Collection[str]
) -> PlanComparison:
    names = [f'"{version.plan.name}"' for version in versions]
    if names[0] == names[1]:
        names = ["this plan", "the other plan"]
    return compare_plans(a, b, name_a=names[0], name_b=names[1], guarded_sites=guarded)
