"""A few invented clients whose whole history goes through the operations, to be multiplied afterwards.

Sums, calendars and digests of the copies are then what the service itself would have written.
"""

import random
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from coaching.models import (
    Account,
    Actor,
    Client,
    Consent,
    ConsentPurpose,
    Injury,
    Membership,
    Plan,
    Practice,
    Role,
    ScheduledSession,
)
from coaching.models.scope import across_practices
from coaching.operations.assignments import assign_plan
from coaching.operations.entries import PainEntry, SessionEntry, SetEntry
from coaching.operations.plans import write_plan
from coaching.operations.sessions import record_batch
from coaching.reads.plans import BlockContent, DayContent, PlanContent, PrescriptionContent

ZONE, COUNTRY, EMERGENCY_TEXT = "Europe/Berlin", "DE", "112"
WEEKDAYS = (0, 2, 4)
LIFTS_OF_DAYS = (
    ("back_squat", "barbell_bench_press", "leg_curl", "cable_row", "barbell_curl"),
    ("romanian_deadlift", "overhead_press", "leg_press", "lat_pulldown", "triceps_pushdown"),
    ("leg_extension", "machine_chest_press", "hip_thrust", "machine_row", "standing_calf_raise"),
)
SORE_JOINTS = (("knee", "left"), ("shoulder", "right"), ("lumbar_spine", "midline"))
AT_ONCE = 100
LONGEST_PLAN_WEEKS, WEEKS_AHEAD = 104, 4


@dataclass(frozen=True, slots=True)
class Story:
    """What makes one client's weeks differ from another's; shares are of all sessions."""

    training_status: str
    gain_per_week: float
    logged: float
    pain_from: int
    pain_to: int
    flares_in_last_weeks: int = 0


STORIES = (
    Story("novice", 0.014, 0.97, 1, 1),
    Story("intermediate", 0.006, 0.95, 2, 2),
    Story("intermediate", 0.0, 0.95, 1, 2),
    Story("novice", 0.014, 0.70, 0, 1),
    Story("advanced", 0.003, 0.98, 3, 2),
    Story("intermediate", 0.006, 0.96, 2, 5, flares_in_last_weeks=4),
    Story("novice", 0.013, 0.9, 1, 2),
    Story("intermediate", 0.006, 0.45, 2, 2),
    Story("advanced", 0.003, 0.99, 2, 3),
    Story("novice", 0.015, 0.93, 0, 0),
    Story("intermediate", 0.007, 0.96, 1, 1),
    Story("intermediate", 0.006, 0.94, 3, 1),
    Story("advanced", 0.003, 0.97, 1, 1),
    Story("novice", 0.014, 0.98, 2, 1),
    Story("intermediate", 0.006, 0.97, 0, 0),
    Story("advanced", 0.003, 0.95, 2, 2),
    Story("novice", 0.015, 0.96, 1, 0),
    Story("intermediate", 0.007, 0.98, 1, 2),
    Story("advanced", 0.003, 0.96, 0, 1),
    Story("intermediate", 0.007, 0.97, 2, 1),
)


def make_templates(*, weeks: int, sets_per_session: int, seed: int, until: date) -> Practice:
    """One practice with a client for each story, who trained up to the day before `until`."""
    with across_practices("a bench makes its practice"):
        begins = _monday(until) - timedelta(weeks=weeks)
        began_at = datetime.combine(begins, time(6), tzinfo=UTC)
        practice = Practice.objects.create(
            name="Millrace Strength", zone=ZONE, country=COUNTRY, emergency_text=EMERGENCY_TEXT,
            created_at=began_at, night_hour=0,
        )  # fmt: skip
        account = Account.objects.create(email="mara@example.org", name="Mara Lind", created_at=began_at)
        coach = Membership.objects.create(
            practice=practice, account=account, role=Role.OWNER, joined_at=began_at
        )
        actor = Actor(
            account.id, None, practice.id, Role.OWNER, membership_id=coach.id, sees_all_clients=True
        )
        n_plans = -(-weeks // (LONGEST_PLAN_WEEKS - WEEKS_AHEAD))
        weeks_of_plan = -(-weeks // n_plans)
        content = _plan(weeks_of_plan + WEEKS_AHEAD, sets_per_session)
        plan = write_plan(actor=actor, content=content, now=began_at).plan
        starts = [begins + timedelta(weeks=week) for week in range(0, weeks, weeks_of_plan)]
        for number, story in enumerate(STORIES):
            client = _client(coach, story, number, began_at)
            for starts_on in starts:
                _give(actor, client, plan, starts_on, began_at)
            chance = random.Random(seed * 1000 + number)  # noqa: S311 - invented sessions, no secret
            _post(actor, client, _sessions(client, story, SORE_JOINTS[number % 3], chance, until), until)
        Client.objects.update(dirty_from_on=None)  # nothing of it has been judged yet
        return practice


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _plan(weeks: int, sets_per_session: int) -> PlanContent:
    days = tuple(
        DayContent(weekday, f"Day {place + 1}", tuple(_blocks(lifts, sets_per_session)))
        for place, (weekday, lifts) in enumerate(zip(WEEKDAYS, LIFTS_OF_DAYS, strict=True))
    )
    return PlanContent("Three days", weeks, (), days)


def _blocks(lifts: Sequence[str], sets_per_session: int) -> Iterator[BlockContent]:
    for lift in lifts:
        asked = PrescriptionContent(
            exercise=lift, side="both", sets=max(1, sets_per_session // len(lifts)), reps_low=6, reps_high=10,
            duration_s=None, effort_target="reps_in_reserve", rir_target=2.0, load_rule="from_history",
            load_kg=None, share_of_1rm=None, tempo="", rest_s=120, has_warm_up_ramp=False, warm_up_steps=(),
            alternatives=(),
        )  # fmt: skip
        yield BlockContent("straight_sets", 120, ("reps", "load"), (asked,))


def _client(coach: Membership, story: Story, number: int, began_at: datetime) -> Client:
    client = Client.objects.create(
        practice_id=coach.practice_id, coach=coach, name=f"Client {number}", zone=ZONE, country=COUNTRY,
        emergency_text=EMERGENCY_TEXT, training_status=story.training_status, created_at=began_at,
    )  # fmt: skip
    Consent.objects.create(
        practice_id=coach.practice_id, client=client, purpose=ConsentPurpose.HEALTH_DATA,
        text_version="2026-01", given_at=began_at,
    )  # fmt: skip
    joint, side = SORE_JOINTS[number % len(SORE_JOINTS)]
    Injury.objects.create(
        practice_id=coach.practice_id, client=client, joint=joint, side=side, said="Sore since a fall.",
        said_by="client", created_at=began_at,
    )  # fmt: skip
    return client


def _give(actor: Actor, client: Client, plan: Plan, starts_on: date, now: datetime) -> None:
    assign_plan(
        actor=actor, client_uid=client.uid, plan_uid=plan.uid, starts_on=starts_on,
        override_reason="An invented client.", now=now,
    )  # fmt: skip


def _sessions(
    client: Client, story: Story, site: tuple[str, str], chance: random.Random, until: date
) -> Iterator[SessionEntry]:
    scheduled = ScheduledSession.objects.filter(client=client, due_on__lt=until).order_by("due_on")
    rows = list(scheduled.prefetch_related("plan_day__blocks__prescriptions__exercise"))
    for row in rows:
        if chance.random() > story.logged:
            continue
        week = (row.due_on - rows[0].due_on).days // 7
        weeks_left = (until - row.due_on).days // 7
        share = min(1.0, max(0.0, 1 - weeks_left / max(1, len(rows) // len(WEEKDAYS))))
        is_flaring = weeks_left < story.flares_in_last_weeks
        pain = story.pain_from + (story.pain_to - story.pain_from) * (share if not is_flaring else 1.0)
        yield _session(row, story, week, _Felt(*site, pain, is_flaring), chance)


@dataclass(frozen=True, slots=True)
class _Felt:
    joint: str
    side: str
    pain: float
    is_flaring: bool


def _session(
    row: ScheduledSession, story: Story, week: int, felt: _Felt, chance: random.Random
) -> SessionEntry:
    at = datetime.combine(row.due_on, time(17, chance.randrange(60)), tzinfo=UTC)
    asked = [each for block in row.plan_day.blocks.all() for each in block.prescriptions.all()]
    sets = [
        _set(each.exercise.code, each.uid, story, week, felt.is_flaring, chance)
        for each in asked
        for _ in range(each.sets)
    ]
    reports = [
        _report(felt, moment, at + timedelta(hours=hours), chance)
        for moment, hours in (("during", 0), ("after", 1), ("next_morning", 14))
    ]
    return SessionEntry(
        uid=_uid(chance), performed_at=at, ended_at=at + timedelta(minutes=70), session_rpe=7.0, note="",
        scheduled_session_uid=row.uid, sets=tuple(sets), pain_reports=tuple(reports),
    )  # fmt: skip


def _uid(chance: random.Random) -> uuid.UUID:
    return uuid.UUID(int=chance.getrandbits(128), version=4)


def _set(
    lift: str, prescription: uuid.UUID, story: Story, week: int, is_flaring: bool, chance: random.Random
) -> SetEntry:
    start_kg = 30 + 10 * (sum(map(ord, lift)) % 6)
    load_kg = round(start_kg * (1 + story.gain_per_week * week) / 2.5) * 2.5
    reps = chance.choice((6, 7, 8, 8, 9)) + 3 * is_flaring
    return SetEntry(
        uid=_uid(chance), exercise_code=lift, kind="work", side="both",
        load_thousandths=int(load_kg * 1000), load_unit="kg", reps=reps, duration_s=None,
        rir=chance.choice((1.0, 2.0, 2.0, 3.0)), ended_by="target", tempo="", rest_s=120,
        follows_previous=False, prescription_uid=prescription,
    )  # fmt: skip


def _report(felt: _Felt, moment: str, at: datetime, chance: random.Random) -> PainEntry:
    pain = min(5, max(0, round(felt.pain + chance.gauss(0, 0.7))))
    return PainEntry(
        uid=_uid(chance), joint=felt.joint, side=felt.side, other_site="", moment=moment, pain=pain,
        symptoms={}, note="", reported_at=at,
    )  # fmt: skip


def _post(actor: Actor, client: Client, entries: Iterator[SessionEntry], until: date) -> None:
    now = datetime.combine(until, time(0), tzinfo=UTC)
    everything = list(entries)
    for first in range(0, len(everything), AT_ONCE):
        for item in record_batch(
            actor=actor, client=client, entries=everything[first : first + AT_ONCE], now=now
        ):
            if item.error is not None:
                raise item.error
