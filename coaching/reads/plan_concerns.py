"""What in a client's injury history speaks against a plan, before it is theirs to do."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from coaching.models import (
    Client,
    Exercise,
    Injury,
    InjuryStatus,
    PlanDay,
    Prescription,
    Restriction,
    RestrictionKind,
)
from coaching.reads.labels import site_label
from coaching.reads.laid_out import LaidOutDay

OVER_CAP, STOPPED, RESTRICTED = "over_cap", "stopped_by_clinician", "restricted"


@dataclass(frozen=True, slots=True)
class Concern:
    """One thing that a coach has to give a reason for going against."""

    code: str
    detail: str


@dataclass(frozen=True, slots=True)
class InjuryHistory:
    """Entries in the order in which they were made, and what they say to avoid."""

    injuries: tuple[Injury, ...]
    avoid: tuple[Restriction, ...]


@dataclass(frozen=True, slots=True)
class Avoided:
    """A place in a plan with something that a restriction says to avoid, on a day on which it holds."""

    restriction: Restriction
    exercise: Exercise
    day: PlanDay
    block: int
    prescription: Prescription
    is_alternative: bool
    first_due_on: date


def injury_history(client: Client) -> InjuryHistory:
    """In two queries."""
    avoid = Restriction.objects.filter(
        injury__client=client, kind__in=[RestrictionKind.AVOID_EXERCISE, RestrictionKind.AVOID_PATTERN]
    ).select_related("exercise", "injury")
    return InjuryHistory(
        tuple(Injury.objects.filter(client=client).order_by("id")), tuple(avoid.order_by("id"))
    )


def concerns_about(
    *, history: InjuryHistory, laid_out: Sequence[LaidOutDay], weekly_joint_reps: Mapping[str, float]
) -> tuple[Concern, ...]:
    """Caps that a week of the plan passes, stopped sites it loads, restrictions met on their days."""
    found = [
        *_over_caps(history.injuries, weekly_joint_reps),
        *_stopped_sites(history.injuries, weekly_joint_reps),
        *(_restricted(avoided) for avoided in avoided_in(history, laid_out)),
    ]
    return tuple(dict.fromkeys(found))


def avoided_in(history: InjuryHistory, laid_out: Sequence[LaidOutDay]) -> tuple[Avoided, ...]:
    """Every place of the plan that a restriction speaks against, alternatives included."""
    dates_of: defaultdict[int, list[date]] = defaultdict(list)
    days = {}
    for row in laid_out:
        dates_of[row.day.id].append(row.due_on)
        days[row.day.id] = row.day
    return tuple(
        Avoided(restriction, exercise, day, block, prescription, is_alternative, min(due))
        for restriction in history.avoid
        for day in days.values()
        if (due := [each for each in dates_of[day.id] if restriction.is_standing(each)])
        for block, prescription, exercise, is_alternative in _exercises_of(day)
        if restriction.is_against(exercise)
    )


def _exercises_of(day: PlanDay) -> Iterator[tuple[int, Prescription, Exercise, bool]]:
    for block in day.blocks.all():
        for row in block.prescriptions.all():
            yield block.position, row, row.exercise, False
            for each in row.alternatives.all():
                yield block.position, row, each.exercise, True


def _over_caps(injuries: Sequence[Injury], weekly_joint_reps: Mapping[str, float]) -> list[Concern]:
    return [
        Concern(
            OVER_CAP,
            f"A week of this plan asks {weekly_joint_reps[injury.target]:g} joint reps of the "
            f"{site_label(injury.target)}; its cap is {injury.weekly_joint_reps_cap}.",
        )
        for injury in injuries
        if injury.weekly_joint_reps_cap is not None
        and weekly_joint_reps.get(injury.target, 0) > injury.weekly_joint_reps_cap
    ]


def _stopped_sites(injuries: Sequence[Injury], weekly_joint_reps: Mapping[str, float]) -> list[Concern]:
    return [
        Concern(STOPPED, f"This plan loads the {site_label(injury.target)}, which a clinician has stopped.")
        for injury in injuries
        if injury.status == InjuryStatus.STOPPED_BY_CLINICIAN and weekly_joint_reps.get(injury.target, 0) > 0
    ]


def _restricted(avoided: Avoided) -> Concern:
    return Concern(RESTRICTED, f"{avoided.exercise.name} is to be avoided: {why(avoided.restriction)}.")


def why(restriction: Restriction) -> str:
    """What is restricted from when until when, and who said so."""
    what = (
        "the exercise" if restriction.kind == RestrictionKind.AVOID_EXERCISE else restriction.movement_pattern
    )
    until = f" until {restriction.until_on}" if restriction.until_on else ""
    return f"{what} is restricted from {restriction.from_on}{until}, as said by the {restriction.said_by}"
