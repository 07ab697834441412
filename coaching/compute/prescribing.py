"""What advice on the next set is made from and what it says: target, past exposures, situation, levers."""

from dataclasses import dataclass
from decimal import Decimal

from coaching.compute.advice_reasons import Reason
from coaching.compute.equipment import Equipment
from coaching.compute.pain_gate import PainGate

TO_FAILURE, REPS_IN_RESERVE = "failure", "reps_in_reserve"
FIXED, SHARE_OF_1RM, FROM_HISTORY = "fixed", "share_of_1rm", "from_history"

REPS, LOAD, SECOND_HALF_LOAD, TIME, TEMPO = "reps", "load", "second_half_load", "time", "tempo"
LEVERS = (REPS, LOAD, SECOND_HALF_LOAD, TIME, TEMPO)


@dataclass(frozen=True, slots=True)
class Target:
    """What a prescription asks for.

    Attributes:
        sets: work sets, 1 or more.
        reps_low, reps_high: range; None for a hold.
        duration_s: seconds of a hold; None for repetitions.
        effort: failure or reps_in_reserve.
        rir_target: repetitions in reserve asked for; 0 to failure.
        load_rule: fixed, share_of_1rm or from_history.
        load_kg: the fixed load.
        share_of_1rm: share of the e1RM, above 0.
        tempo: text for parse_tempo; empty = free.
        rest_s: seconds between sets; None = not told.
    """

    sets: int
    reps_low: int | None = None
    reps_high: int | None = None
    duration_s: int | None = None
    effort: str = TO_FAILURE
    rir_target: float = 0
    load_rule: str = FROM_HISTORY
    load_kg: Decimal | None = None
    share_of_1rm: float | None = None
    tempo: str = ""
    rest_s: int | None = None

    def __post_init__(self) -> None:
        if self.sets < 1:
            raise ValueError(f"sets must be 1 or more, got {self.sets}")
        if self.effort not in (TO_FAILURE, REPS_IN_RESERVE):
            raise ValueError(f"effort must be failure or reps_in_reserve, got {self.effort}")
        if self.load_rule not in (FIXED, SHARE_OF_1RM, FROM_HISTORY):
            raise ValueError(f"load_rule must be fixed, share_of_1rm or from_history, got {self.load_rule}")
        if not self.rir_target >= 0:
            raise ValueError(f"rir_target must be 0 or more, got {self.rir_target}")
        if self.duration_s is None and not (self.reps_low and self.reps_high):
            raise ValueError(f"reps_low and reps_high must be given without a duration, got {self.reps_low}")
        if not 1 <= self.low <= self.high:
            raise ValueError(f"reps_low must lie in 1 to reps_high, got {self.low} to {self.high}")
        if self.load_rule == FIXED and self.load_kg is None:
            raise ValueError(f"load_kg must be given with a fixed load, got {self.load_kg}")
        if self.load_rule == SHARE_OF_1RM and not (self.share_of_1rm and self.share_of_1rm > 0):
            raise ValueError(f"share_of_1rm must be above 0 with a share, got {self.share_of_1rm}")

    @property
    def is_hold(self) -> bool:
        return self.duration_s is not None

    @property
    def low(self) -> int:
        """Repetitions or, of a hold, seconds that fulfil it."""
        return self.duration_s or self.reps_low or 0

    @property
    def high(self) -> int:
        return self.duration_s or self.reps_high or 0

    @property
    def rir(self) -> float:
        """Repetitions to leave in reserve; of a set to failure and of a hold none."""
        return 0 if self.is_hold or self.effort == TO_FAILURE else self.rir_target


@dataclass(frozen=True, slots=True)
class PerformedSet:
    """One work set as done: load in exact kilograms, and repetitions or seconds; rir None = not known."""

    load_kg: Decimal
    reps: int | None = None
    duration_s: int | None = None
    rir: float | None = None
    is_to_failure: bool = False
    is_ended_by_pain: bool = False

    @property
    def amount(self) -> int:
        """Repetitions, or seconds of a hold."""
        return self.duration_s if self.duration_s is not None else self.reps or 0

    @property
    def left(self) -> float | None:
        """Repetitions in reserve; None = not known."""
        return 0 if self.is_to_failure else self.rir


@dataclass(frozen=True, slots=True)
class PastExposure:
    """One past session of this very prescription.

    Attributes:
        day: ordinal of the local date.
        sets: its work sets in order, one or more; warm-ups and loads still to be confirmed left out.
        had_passed_gate: True: pain of this exposure kept the rules of the pain gate; False: it broke one;
            None: not known.
        tempo, rest_s: as done; empty and None = not known.
        is_deload: done in a deload week; it says nothing about progress.
    """

    day: int
    sets: tuple[PerformedSet, ...]
    had_passed_gate: bool | None = None
    tempo: str = ""
    rest_s: int | None = None
    is_deload: bool = False


@dataclass(frozen=True, slots=True)
class Situation:
    """What bears on advice apart from the prescription and its history.

    Attributes:
        day: ordinal of the local date the advice is for.
        gates: verdict of the pain gate for each site that the exercise loads.
        is_blocked: a red flag is open, or a clinician's stop is not cleared.
        is_deload: the day lies in a deload week.
        is_cautious: the load goes up by the 2-for-2 rule only.
        max_load_kg: the coach's cap; None = none. It does not apply to assistance.
        one_rm_kg: e1RM of the same lift; None = not known.
        is_one_rm_fresh: False where it is that of this pair's own track.
    """

    day: int
    gates: tuple[PainGate, ...] = ()
    is_blocked: bool = False
    is_deload: bool = False
    is_cautious: bool = False
    max_load_kg: Decimal | None = None
    one_rm_kg: float | None = None
    is_one_rm_fresh: bool = True


@dataclass(frozen=True, slots=True)
class Member:
    """One prescription of a block, with its own history, oldest first."""

    target: Target
    history: tuple[PastExposure, ...]
    equipment: Equipment
    situation: Situation
    is_second_half: bool = False


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do next, and why.

    Attributes:
        load_kg: exact; None = no number. load_thousandths and load_unit are the same as it is entered.
        sets: sets still to do; None where there is no advice.
        reps_low, reps_high: range asked for; reps_aim: what to aim at in every set, above reps_high only
            where the equipment's step or the 2-for-2 rule asks for more repetitions first.
        duration_s: seconds of a hold.
        tempo, rest_s: empty and None = free.
        rir_target: repetitions to leave in reserve.
        lever: the one that moves: reps, load, second_half_load, time or tempo; None = none.
        reasons: one or more, the most important first.
        sentence: the same in words.
    """

    load_kg: Decimal | None
    load_thousandths: int | None
    load_unit: str | None
    sets: int | None
    reps_low: int | None
    reps_high: int | None
    reps_aim: int | None
    duration_s: int | None
    rir_target: float | None
    tempo: str
    rest_s: int | None
    lever: str | None
    reasons: tuple[Reason, ...]
    sentence: str
