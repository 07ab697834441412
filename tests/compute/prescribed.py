"""Short names for the past exposures and prescriptions that tests of the next load are made of."""

from decimal import Decimal
from typing import Any

from coaching.compute.equipment import Equipment
from coaching.compute.pain_gate import PainGate
from coaching.compute.prescribing import Member, PastExposure, PerformedSet, Situation, Target

TODAY = 1000
KG = Equipment(2500)
LB = Equipment(5000, "lb")
TWO_IN_RESERVE = {"effort": "reps_in_reserve", "rir_target": 2}

PASSED = PainGate("passed", "")
FAILED = PainGate("failed", "pain_during")
UNKNOWN = PainGate("unknown", "no_next_morning")


def work_set(load: float | str, reps: int, rir: float | None = 0, *, by_pain: bool = False) -> PerformedSet:
    return PerformedSet(Decimal(str(load)), reps=reps, rir=rir, is_ended_by_pain=by_pain)


def past(*sets: PerformedSet, days_ago: int = 3, **known: Any) -> PastExposure:
    return PastExposure(TODAY - days_ago, sets, **known)


def member(
    *history: PastExposure,
    target: Target | None = None,
    equipment: Equipment = KG,
    second: bool = False,
    **situation: Any,
) -> Member:
    """By default one set of 6 to 10 to failure, from history."""
    given = target or Target(1, 6, 10)
    return Member(given, history, equipment, Situation(TODAY, **situation), second)
