"""What in a client's injury history speaks against a plan, before it is theirs to do."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from coaching.compute.evidence import refer_out
from coaching.errors import ConflictError
from coaching.models import (
    Alert,
    AlertKind,
    Client,
    Exercise,
    Injury,
    InjuryStatus,
    PlanDay,
    Restriction,
    RestrictionKind,
)
from coaching.reads.labels import site_label
from coaching.reads.prescribed import prescriptions_of


@dataclass(frozen=True, slots=True)
class Concern:
    """One thing that a coach has to give a reason for going against."""

    code: str
    detail: str


@dataclass(frozen=True, slots=True)
class LaidOutDay:
    due_on: date
    day: PlanDay


def check_no_red_flag(client: Client) -> None:
    """Raises ConflictError with the refer-out sentence while a red flag of the client stands."""
    flags = Alert.objects.standing().filter(client=client, kind=AlertKind.RED_FLAG)
    if flags.exists():
        raise ConflictError(
            "A red flag of this client stands, and only a clinician's recorded clearance lifts it. "
            + refer_out(client.emergency_text)
        )


def concerns_about(
    *, client: Client, laid_out: Sequence[LaidOutDay], weekly_joint_reps: dict[str, float]
) -> tuple[Concern, ...]:
    """Caps that a week of the plan passes, stopped sites it loads, restrictions met on their days."""
    injuries = list(Injury.objects.filter(client=client).order_by("id"))
    restrictions = Restriction.objects.filter(
        injury__client=client, kind__in=[RestrictionKind.AVOID_EXERCISE, RestrictionKind.AVOID_PATTERN]
    ).select_related("exercise")
    found = [
        *_over_caps(injuries, weekly_joint_reps),
        *_stopped_sites(injuries, weekly_joint_reps),
        *_restricted(restrictions.order_by("id"), laid_out),
    ]
    return tuple(dict.fromkeys(found))


def _over_caps(injuries: Iterable[Injury], weekly_joint_reps: dict[str, float]) -> list[Concern]:
    return [
        Concern(
            "over_cap",
            f"A week of this plan asks {weekly_joint_reps[injury.target]:g} joint reps of the "
            f"{site_label(injury.target)}; its cap is {injury.weekly_joint_reps_cap}.",
        )
        for injury in injuries
        if injury.weekly_joint_reps_cap is not None
        and weekly_joint_reps.get(injury.target, 0) > injury.weekly_joint_reps_cap
    ]


def _stopped_sites(injuries: Iterable[Injury], weekly_joint_reps: dict[str, float]) -> list[Concern]:
    return [
        Concern(
            "stopped_by_clinician",
            f"This plan loads the {site_label(injury.target)}, which a clinician has stopped.",
        )
        for injury in injuries
        if injury.status == InjuryStatus.STOPPED_BY_CLINICIAN and weekly_joint_reps.get(injury.target, 0) > 0
    ]


def _restricted(restrictions: Iterable[Restriction], laid_out: Sequence[LaidOutDay]) -> list[Concern]:
    dates_of: defaultdict[int, list[date]] = defaultdict(list)
    exercises_of: dict[int, dict[int, Exercise]] = {}
    for row in laid_out:
        dates_of[row.day.id].append(row.due_on)
        if row.day.id not in exercises_of:
            exercises_of[row.day.id] = _exercises_offered(row.day)
    return [
        Concern("restricted", f"{exercise.name} is to be avoided: {_why(restriction)}.")
        for restriction in restrictions
        for day_id, dates in dates_of.items()
        if any(restriction.is_standing(due_on) for due_on in dates)
        for exercise in exercises_of[day_id].values()
        if restriction.is_against(exercise)
    ]


def _exercises_offered(day: PlanDay) -> dict[int, Exercise]:
    """Exercise id -> exercise for all that the day prescribes or lets the client swap to."""
    rows = [
        exercise
        for each in prescriptions_of(day)
        for exercise in (each.exercise, *(swap.exercise for swap in each.alternatives.all()))
    ]
    return {row.id: row for row in rows}


def _why(restriction: Restriction) -> str:
    what = (
        "the exercise" if restriction.kind == RestrictionKind.AVOID_EXERCISE else restriction.movement_pattern
    )
    until = f" until {restriction.until_on}" if restriction.until_on else ""
    return f"{what} is restricted from {restriction.from_on}{until}, as said by the {restriction.said_by}"
