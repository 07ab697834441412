"""A plan version on a calendar: weeks from Monday, the first that of the day it starts on."""

from dataclasses import dataclass
from datetime import date, timedelta

from coaching.models import PlanDay, PlanVersion


@dataclass(frozen=True, slots=True)
class LaidOutDay:
    due_on: date
    day: PlanDay


def lay_out(version: PlanVersion, starts_on: date) -> list[LaidOutDay]:
    """Its days from `starts_on`, in order; days of the first week before it are left out."""
    monday = monday_of(starts_on)
    laid_out = [
        LaidOutDay(due_on, day)
        for week in range(version.weeks)
        for day in version.days.all()
        if (due_on := monday + timedelta(days=7 * week + day.weekday)) >= starts_on
    ]
    return sorted(laid_out, key=lambda row: row.due_on)


def monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())
