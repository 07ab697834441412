"""Plans of a practice and the content of their versions."""

import uuid
from dataclasses import dataclass

from coaching.errors import NotFoundError
from coaching.models import Actor, Block, Plan, PlanDay, PlanVersion, Prescription, ServiceScope
from coaching.models.base import ListQuerySet

DAY_CONTENT = ("blocks__prescriptions__exercise", "blocks__prescriptions__alternatives__exercise")


@dataclass(frozen=True, slots=True)
class WarmUpStep:
    """One set of a warm-up ramp: a share of the work load, and the rest after it."""

    share_of_work_load: float
    reps: int
    rest_s: int


@dataclass(frozen=True, slots=True)
class PrescriptionContent:
    """What to do: sets of repetitions or of seconds, how hard, with what load."""

    exercise: str
    side: str
    sets: int
    reps_low: int | None
    reps_high: int | None
    duration_s: int | None
    effort_target: str
    rir_target: float | None
    load_rule: str
    load_kg: float | None
    share_of_1rm: float | None
    tempo: str
    rest_s: int | None
    has_warm_up_ramp: bool
    warm_up_steps: tuple[WarmUpStep, ...]
    alternatives: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BlockContent:
    kind: str
    rest_s: int
    levers: tuple[str, ...]
    prescriptions: tuple[PrescriptionContent, ...]


@dataclass(frozen=True, slots=True)
class DayContent:
    weekday: int
    name: str
    blocks: tuple[BlockContent, ...]


@dataclass(frozen=True, slots=True)
class PlanContent:
    """A plan as written; two equal contents are the same plan."""

    name: str
    weeks: int
    deload_weeks: tuple[int, ...]
    days: tuple[DayContent, ...]


def plans_of(actor: Actor) -> ListQuerySet[Plan]:
    """The practice's plans in use; every coach of the practice reads them all."""
    return Plan.objects.filter(practice_id=actor.practice_id, archived_at__isnull=True).select_related(
        "author"
    )


def plan_for(actor: Actor, plan_uid: uuid.UUID) -> Plan:
    """The plan with this id, archived ones included. Raises NotFoundError for another practice's too."""
    found = Plan.objects.filter(practice_id=actor.practice_id, uid=plan_uid).select_related("author").first()
    if found is None or not (actor.is_coach or actor.has_scope(ServiceScope.PLANS_READ)):
        raise NotFoundError("There is no such plan.")
    return found


def plan_version(plan: Plan, number: int) -> PlanVersion:
    """One version with all its content loaded, in a constant number of queries. Raises NotFoundError."""
    found = (
        PlanVersion.objects.filter(plan=plan, number=number)
        .select_related("plan__author")
        .prefetch_related(*(f"days__{content}" for content in DAY_CONTENT))
        .first()
    )
    if found is None:
        raise NotFoundError("There is no such version of this plan.")
    return found


def current_version(plan: Plan) -> PlanVersion:
    return plan_version(plan, plan.version)


def content_of(version: PlanVersion) -> PlanContent:
    return PlanContent(
        name=version.plan.name,
        weeks=version.weeks,
        deload_weeks=tuple(version.deload_weeks),
        days=tuple(_day(row) for row in version.days.all()),
    )


def _day(row: PlanDay) -> DayContent:
    return DayContent(row.weekday, row.name, tuple(_block(block) for block in row.blocks.all()))


def _block(row: Block) -> BlockContent:
    prescriptions = tuple(_prescription(each) for each in row.prescriptions.all())
    return BlockContent(row.kind, row.rest_s, tuple(row.levers), prescriptions)


def _prescription(row: Prescription) -> PrescriptionContent:
    return PrescriptionContent(
        exercise=row.exercise.code,
        side=row.side,
        sets=row.sets,
        reps_low=row.reps_low,
        reps_high=row.reps_high,
        duration_s=row.duration_s,
        effort_target=row.effort_target,
        rir_target=row.rir_target,
        load_rule=row.load_rule,
        load_kg=row.load_kg,
        share_of_1rm=row.share_of_1rm,
        tempo=row.tempo,
        rest_s=row.rest_s,
        has_warm_up_ramp=row.has_warm_up_ramp,
        warm_up_steps=own_warm_up_steps(row),
        alternatives=tuple(each.exercise.code for each in row.alternatives.all()),
    )


def own_warm_up_steps(row: Prescription) -> tuple[WarmUpStep, ...]:
    """The ramp that the coach wrote; none where they left it to the default."""
    return tuple(WarmUpStep(**step) for step in row.warm_up_steps)
