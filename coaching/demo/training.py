"""What each invented client did, day by day, as the bodies their app would post."""

import random
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from coaching.compute import strength
from coaching.compute.units import KG_PER_LB
from coaching.demo.plans import DEFAULT_RAMP, Day, Lift
from coaching.demo.stories import Story

ZONE = "Europe/Lisbon"
WEEKS = 16
DELOAD_SHARE = 0.85
NAMESPACE = uuid.UUID("6f1f7a52-3c0e-4a5b-9d0c-0b8f5a1d7e11")


@dataclass(frozen=True, slots=True)
class TrainedDay:
    """One session as posted, and the pain report of the morning after it."""

    day: date
    session_id: str
    body: dict[str, Any]
    morning_id: str
    morning_body: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class SkippedDay:
    """A scheduled day on which nothing was done."""

    day: date


def days_of(story: Story, start_on: date, today: date) -> Iterator[TrainedDay | SkippedDay]:
    """Every scheduled day of the story up to yesterday, in order; the same for the same dates."""
    first = first_day(story, start_on)
    plan_days = {day.weekday: day for day in story.plan.days}
    due = [first + timedelta(days=step) for step in range((today - first).days)]
    due = [day for day in due if day.weekday() in plan_days]
    for number, day in enumerate(due, start=1):
        days_ago = (today - day).days
        if story.is_skipped(days_ago, number):
            yield SkippedDay(day)
        else:
            week = (day - first).days // 7
            yield _trained(story, plan_days[day.weekday()], day, week, days_ago, is_last=day == due[-1])


def first_day(story: Story, start_on: date) -> date:
    """The Monday on which this client began."""
    return start_on + timedelta(weeks=WEEKS - story.weeks)


def _trained(
    story: Story, plan_day: Day, day: date, week: int, days_ago: int, *, is_last: bool
) -> TrainedDay:
    chance = random.Random(f"{story.key}:{days_ago}:{week}")  # noqa: S311 - an invented life, not a secret
    session_id = _id(story, day, "session")
    started = datetime.combine(day, time(18, chance.randrange(60)), ZoneInfo(ZONE))
    ended = started + timedelta(minutes=25 + chance.randrange(15))
    sets = [row for lift in plan_day.lifts for row in _sets(story, lift, week, days_ago, chance)]
    if is_last and story.ends_with_typing_error:
        mistyped = [row for row in sets if row["exercise"] == "dumbbell_curl"]
        mistyped[-1]["load"] = 200  # for 20; the same on every weekday
    for position, row in enumerate(sets):
        row["id"] = _id(story, day, f"set{position}")
    body = {
        "performed_at": started.isoformat(),
        "ended_at": ended.isoformat(),
        "session_rpe": chance.choice([6, 6.5, 7, 7.5]),
        "sets": sets,
        "pain_reports": _pain_reports(story, day, days_ago, ended, is_last=is_last),
    }
    morning = datetime.combine(day + timedelta(days=1), time(8, 0), ZoneInfo(ZONE))
    has_morning = story.pain_site is not None and days_ago >= 2 and chance.random() < 0.8
    return TrainedDay(
        day=day,
        session_id=session_id,
        body=body,
        morning_id=_id(story, day, "morning"),
        morning_body=_morning(story, session_id, days_ago, morning) if has_morning else None,
    )


def _sets(story: Story, lift: Lift, week: int, days_ago: int, chance: random.Random) -> list[dict[str, Any]]:
    if lift.duration_s:
        count = lift.sets + story.extra_sets(days_ago)
        return [
            _set(lift, kind="work", duration_s=lift.duration_s + chance.randrange(8)) for _ in range(count)
        ]
    e1rm_kg = _e1rm_kg(story, lift, week) * (1 + chance.gauss(0, 0.012))
    is_deload = week + 1 in story.plan.deload_weeks
    middle = (lift.reps_low + lift.reps_high) / 2
    rir = 0.0 if lift.rir is None else lift.rir
    load_kg = strength.load_for_reps(e1rm_kg, round(middle), rir)
    if is_deload:
        load_kg *= DELOAD_SHARE
    load_kg = max(lift.step_kg, round(load_kg / lift.step_kg) * lift.step_kg)
    reps = _reps(lift, e1rm_kg, load_kg, rir, story.reps_factor(days_ago))
    sets = _warm_up(lift, load_kg) if lift.has_warm_up_ramp else []
    count = 1 if is_deload else lift.sets + story.extra_sets(days_ago)
    for number in range(count):
        done = max(1, reps - (number if lift.rir is None else number // 2))
        sets.append(
            _set(lift, kind="work", load_kg=load_kg, reps=done, follows=lift.follows_previous and not number)
        )
    if story.uses_pounds:
        _tell_in_pounds(sets)
    return sets


def _e1rm_kg(story: Story, lift: Lift, week: int) -> float:
    e1rm_kg = lift.start_e1rm_kg
    for past in range(week):
        e1rm_kg *= 1 + story.progress_per_week(past)
    return e1rm_kg


def _reps(lift: Lift, e1rm_kg: float, load_kg: float, rir: float, factor: float) -> int:
    able = strength.reps_for_load(e1rm_kg, load_kg) - rir
    return max(1, min(lift.reps_high, round(max(able, lift.reps_low) * factor)))


def _warm_up(lift: Lift, load_kg: float) -> list[dict[str, Any]]:
    sets = []
    for step in lift.warm_up_steps or DEFAULT_RAMP:
        steps_of_load = round(load_kg * step.share_of_work_load / lift.step_kg)
        sets.append(_set(lift, kind="warm_up", load_kg=steps_of_load * lift.step_kg, reps=step.reps))
    return sets


def _set(
    lift: Lift,
    *,
    kind: str,
    load_kg: float = 0.0,
    reps: int | None = None,
    duration_s: int | None = None,
    follows: bool = False,
) -> dict[str, Any]:
    is_work = kind == "work"
    row: dict[str, Any] = {
        "exercise": lift.exercise,
        "kind": kind,
        "side": "both",
        "load": load_kg,
        "load_unit": "kg",
    }
    if duration_s is not None:
        row["duration_s"] = duration_s
    else:
        row["reps"] = reps
    if is_work and lift.rir is None:
        row["ended_by"] = "failure"
    elif is_work:
        row["rir"] = lift.rir
    if lift.tempo:
        row["tempo"] = lift.tempo
    if follows:
        row["follows_previous"] = True
    return row


def _tell_in_pounds(sets: list[dict[str, Any]]) -> None:
    """The same plates, as an app set to pounds would send them: to the nearest half pound."""
    for row in sets:
        pounds = Decimal(str(row["load"])) / KG_PER_LB
        row["load"], row["load_unit"] = float(round(pounds * 2) / Decimal(2)), "lb"


def _pain_reports(
    story: Story, day: date, days_ago: int, ended: datetime, *, is_last: bool
) -> list[dict[str, Any]]:
    if story.pain_site is None:
        return []
    report = _pain(story, days_ago, "during", ended) | {"id": _id(story, day, "pain")}
    if is_last and story.ends_with_red_flag:
        report["symptoms"] = {"swollen_calf": "yes", "chest_pain": "no"}
        report["note"] = "Left calf is swollen and warm since the long drive."
    return [report]


def _pain(story: Story, days_ago: int, moment: str, at: datetime) -> dict[str, Any]:
    joint, side = story.pain_site or ("knee", "left")
    return {
        "joint": joint,
        "side": side,
        "moment": moment,
        "pain": story.pain(days_ago),
        "reported_at": at.isoformat(),
    }


def _morning(story: Story, session_id: str, days_ago: int, at: datetime) -> dict[str, Any]:
    report = _pain(story, days_ago, "next_morning", at)
    return report | {"pain": max(0, report["pain"] - 1), "session": session_id}


def _id(story: Story, day: date, what: str) -> str:
    return str(uuid.uuid5(NAMESPACE, f"{story.key}:{day}:{what}"))
