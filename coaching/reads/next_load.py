"""What to do in a scheduled session: load, repetitions and warm-up of each prescription, and why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from coaching.compute.advice_reasons import Reason
from coaching.compute.draft import refuse
from coaching.compute.equipment import Equipment
from coaching.compute.evidence import CAUTION, refer_out
from coaching.compute.joint_sides import sides_in_turn, sides_loaded
from coaching.compute.next_load import next_block, next_prescription
from coaching.compute.next_set import next_set
from coaching.compute.pain_gate import PainGate
from coaching.compute.prescribing import Advice, Member, PastExposure, PerformedSet, Situation, Target
from coaching.compute.units import load_from_kg
from coaching.compute.warm_up import WarmUpSet, warm_up_ramp
from coaching.models import (
    Alert,
    AlertKind,
    Block,
    BlockKind,
    Client,
    Injury,
    InjuryStatus,
    LiftDay,
    LoadBasis,
    LoadUnit,
    Prescription,
    ProgressionRule,
    Restriction,
    ScheduledSession,
)
from coaching.reads.computed import Computed, computed_over
from coaching.reads.labels import FRESH
from coaching.reads.planned_days import ramp_of
from coaching.reads.prescription_history import (
    LOOK_BACK_DAYS,
    DoneExposure,
    PrescriptionHistory,
    PrescriptionKey,
    key_of,
    prescription_history,
)
from coaching.reads.session_doses import E1RM_OF_DAYS
from coaching.reads.site_pain import MissingReport, SitePain, site_pains
from coaching.reads.stress import stresses_for

METHOD, VERSION = "double_progression", "1"
REASON_CODES = [reason.value for reason in Reason]
NO_STEP_THOUSANDTHS = 1000  # what has no load has no step either; the core never uses it


@dataclass(frozen=True, slots=True)
class SiteGate:
    """What the pain gate says of one site that an exercise loads."""

    joint: str
    side: str
    verdict: str
    reason: str

    @property
    def target(self) -> str:
        return f"{self.joint}:{self.side}"


@dataclass(frozen=True, slots=True)
class NextPrescription:
    """Advice for one prescription; warm_up is empty once a work set was done."""

    prescription: Prescription
    track: str
    advice: Advice
    sets_done: int
    warm_up: tuple[WarmUpSet, ...]
    gates: tuple[SiteGate, ...]
    last: DoneExposure | None

    @property
    def alternative_codes(self) -> list[str]:
        return [row.exercise.code for row in self.prescription.alternatives.all()]


@dataclass(frozen=True, slots=True)
class NextBlock:
    block: Block
    prescriptions: tuple[NextPrescription, ...]


@dataclass(frozen=True, slots=True)
class NextSession:
    """Advice for a whole scheduled session; while a red flag stands there is none, and blocks is empty."""

    scheduled: ScheduledSession
    as_of_on: date
    is_blocked: bool
    blocks: tuple[NextBlock, ...]
    asks: tuple[MissingReport, ...]
    caution: str
    refer_out: str

    @property
    def computed(self) -> Computed:
        return computed_over(METHOD, VERSION, self.as_of_on - timedelta(days=1), LOOK_BACK_DAYS)


@dataclass(frozen=True, slots=True)
class _Known:
    """Everything that was read, by what it is looked up with."""

    client: Client
    scheduled: ScheduledSession
    as_of_on: date
    history: PrescriptionHistory
    pains: Mapping[str, SitePain]
    stresses: Mapping[int, Mapping[str, float]]
    stopped: frozenset[str]
    restrictions: tuple[Restriction, ...]
    e1rms: Mapping[tuple[int, str, str], float]


def next_session(*, client: Client, scheduled: ScheduledSession, today: date) -> NextSession:
    """Advice for a scheduled session, also while it is being done; the number of queries is constant.

    What counts as history are the days before today, or before its own day where it was logged earlier.
    """
    is_past = bool(scheduled.logged) and scheduled.due_on < today  # type: ignore[attr-defined]  # prefetched
    as_of_on = scheduled.due_on if is_past else today
    is_blocked = Alert.objects.standing().filter(client=client, kind=AlertKind.RED_FLAG).exists()
    known = None if is_blocked else _known(client, scheduled, as_of_on)
    blocks = () if known is None else tuple(_block(each, known) for each in scheduled.plan_day.blocks.all())
    return NextSession(
        scheduled=scheduled,
        as_of_on=as_of_on,
        is_blocked=is_blocked,
        blocks=blocks,
        asks=() if known is None else _asks(blocks, known),
        caution=CAUTION,
        refer_out=refer_out(client.emergency_text),
    )


def _known(client: Client, scheduled: ScheduledSession, as_of_on: date) -> _Known:
    rows = [row for block in scheduled.plan_day.blocks.all() for row in block.prescriptions.all()]
    exercise_ids = {row.exercise_id for row in rows}
    return _Known(
        client=client,
        scheduled=scheduled,
        as_of_on=as_of_on,
        history=prescription_history(
            client=client, scheduled=scheduled, exercise_ids=exercise_ids, before_on=as_of_on
        ),
        pains=site_pains(client=client, before_on=as_of_on),
        stresses=stresses_for(practice_id=client.practice_id, client_id=client.id, exercise_ids=exercise_ids),
        stopped=_stopped_sites(client),
        restrictions=_restrictions(client, scheduled, as_of_on),
        e1rms=_best_e1rms(client, exercise_ids, as_of_on),
    )


def _stopped_sites(client: Client) -> frozenset[str]:
    """Sites that a clinician has stopped, until the entry is changed: it does not say since when they are."""
    stopped = Injury.objects.filter(client=client, status=InjuryStatus.STOPPED_BY_CLINICIAN)
    return frozenset(injury.target for injury in stopped)


def _restrictions(client: Client, scheduled: ScheduledSession, on: date) -> tuple[Restriction, ...]:
    """What is to be avoided; nothing where the coach gave a reason for assigning the plan all the same."""
    if scheduled.assignment.override_reason:
        return ()
    return tuple(Restriction.objects.filter(injury__client=client).standing(on))


def _best_e1rms(client: Client, exercise_ids: set[int], before_on: date) -> dict[tuple[int, str, str], float]:
    found: dict[tuple[int, str, str], float] = {}
    days = LiftDay.objects.filter(
        client=client,
        exercise_id__in=exercise_ids,
        day_on__gte=before_on - timedelta(days=E1RM_OF_DAYS),
        day_on__lt=before_on,
        e1rm_kg__isnull=False,
        is_pain_limited=False,
    )
    for exercise, side, track, e1rm_kg in days.values_list("exercise_id", "side", "track", "e1rm_kg"):
        found[exercise, side, track] = max(e1rm_kg or 0.0, found.get((exercise, side, track), 0.0))
    return found


def _block(block: Block, known: _Known) -> NextBlock:
    rows = list(block.prescriptions.all())
    keys = [key_of(row, block) for row in rows]
    members = [_member(row, key, known) for row, key in zip(rows, keys, strict=True)]
    if block.kind == BlockKind.BACK_TO_BACK:
        planned: Sequence[Advice] = next_block(members, block.levers)
    else:
        planned = [next_prescription(member, block.levers) for member in members]
    return NextBlock(
        block,
        tuple(
            _next(row, key, member, advice, known)
            for row, key, member, advice in zip(rows, keys, members, planned, strict=True)
        ),
    )


def _next(
    row: Prescription, key: PrescriptionKey, member: Member, planned: Advice, known: _Known
) -> NextPrescription:
    done = known.history.done.get(key, ())
    advice = _advice(row, member, planned, done, known)
    exposures = known.history.exposures.get(key, ())
    return NextPrescription(
        prescription=row,
        track=key.track,
        advice=advice,
        sets_done=len(done),
        warm_up=() if done else _warm_up(row, member, advice),
        gates=tuple(_site_gate(target, gate) for target, gate in _gates(row, known).items()),
        last=exposures[-1] if exposures else None,
    )


def _advice(
    row: Prescription, member: Member, planned: Advice, done: Sequence[PerformedSet], known: _Known
) -> Advice:
    """The plan's advice, or that of the next set; none where a stop, a restriction or today's pain is."""
    if member.situation.is_blocked:
        return planned
    if any(each.is_against(row.exercise) for each in known.restrictions):
        return refuse(Reason.RESTRICTED)
    if any(known.pains[site].is_over_limit_today for site in _sites(row, known) if site in known.pains):
        return refuse(Reason.LIMIT_TODAY)
    return next_set(member, done, planned=planned) if done else planned


def _site_gate(target: str, gate: PainGate) -> SiteGate:
    joint, _, side = target.partition(":")
    return SiteGate(joint, side, gate.verdict, gate.reason)


def _warm_up(row: Prescription, member: Member, advice: Advice) -> tuple[WarmUpSet, ...]:
    steps = ramp_of(row)
    return warm_up_ramp(
        advice.load_kg if steps else None,
        member.equipment,
        work_reps=advice.reps_aim,
        work_rir=advice.rir_target or 0,
        steps=steps,
    )


def _member(row: Prescription, key: PrescriptionKey, known: _Known) -> Member:
    sites = _sites(row, known)
    exposures = known.history.exposures.get(key, ())
    own, fresh = _one_rm_kg(row, key.track, known), _one_rm_kg(row, FRESH, known)
    return Member(
        target=_target(row),
        history=tuple(_past(each, sites, known.pains) for each in exposures),
        equipment=_equipment(row, known.client, exposures),
        situation=Situation(
            day=known.as_of_on.toordinal(),
            gates=tuple(_gates(row, known).values()),
            is_blocked=not known.stopped.isdisjoint(sites),
            is_deload=known.scheduled.is_deload,
            is_cautious=known.client.progression_rule == ProgressionRule.TWO_FOR_TWO,
            one_rm_kg=fresh if own is None else own,
            is_one_rm_fresh=key.track == FRESH or own is None,
        ),
        is_second_half=key.track != FRESH,
    )


def _one_rm_kg(row: Prescription, track: str, known: _Known) -> float | None:
    """Of one-sided work of both sides that of the weaker one; None while either is not known."""
    sides = sides_in_turn(row.side, is_one_sided=row.exercise.is_one_sided)
    found = [known.e1rms.get((row.exercise_id, side, track)) for side in sides]
    return None if None in found else min(each for each in found if each is not None)


def _target(row: Prescription) -> Target:
    return Target(
        sets=row.sets * len(sides_in_turn(row.side, is_one_sided=row.exercise.is_one_sided)),
        reps_low=row.reps_low,
        reps_high=row.reps_high,
        duration_s=row.duration_s,
        effort=row.effort_target,
        rir_target=row.rir_target or 0,
        load_rule=row.load_rule,
        load_kg=None if row.load_kg is None else Decimal(repr(row.load_kg)),
        share_of_1rm=row.share_of_1rm,
        tempo=row.tempo,
        rest_s=row.rest_s,
    )


def _past(done: DoneExposure, sites: Sequence[str], pains: Mapping[str, SitePain]) -> PastExposure:
    """The exposure with the worst that its sites say of that day."""
    passed = [pains[site].passed_on(done.day_on) for site in sites if site in pains]
    had_passed = False if False in passed else None if None in passed else True
    return PastExposure(
        day=done.day_on.toordinal(),
        sets=done.sets,
        had_passed_gate=had_passed,
        tempo=done.tempo,
        rest_s=done.rest_s,
        is_deload=done.is_deload,
    )


def _sites(row: Prescription, known: _Known) -> list[str]:
    return [
        f"{joint}:{side}"
        for joint in known.stresses.get(row.exercise_id, {})
        for side in sides_loaded(joint, row.side)
    ]


def _gates(row: Prescription, known: _Known) -> dict[str, PainGate]:
    """The gate of each loaded site; a site never trained, reported or guarded has nothing to gate."""
    return {site: known.pains[site].gate for site in _sites(row, known) if site in known.pains}


def _equipment(row: Prescription, client: Client, exposures: Sequence[DoneExposure]) -> Equipment:
    """Steps of the exercise in the client's unit, counted from the last load: what was lifted can be made."""
    exercise = row.exercise
    step_kg_or_lb = exercise.load_step_lb if client.load_unit == LoadUnit.LB else exercise.load_step_kg
    step = int(step_kg_or_lb * 1000)
    if not step:
        return Equipment(NO_STEP_THOUSANDTHS, client.load_unit, load_basis=LoadBasis.NONE)
    last = load_from_kg(exposures[-1].sets[0].load_kg, client.load_unit) * 1000 if exposures else Decimal(0)
    beside_the_steps = int(last % step) if last == int(last) else 0  # a load entered in the other unit
    return Equipment(step, client.load_unit, beside_the_steps, exercise.load_basis)


def _asks(blocks: Sequence[NextBlock], known: _Known) -> tuple[MissingReport, ...]:
    """Each missing report of a site that this session loads, once."""
    sites = dict.fromkeys(
        gate.target for block in blocks for row in block.prescriptions for gate in row.gates
    )
    return tuple(report for site in sites for report in known.pains[site].missing)
