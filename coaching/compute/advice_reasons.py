"""The reasons that advice on the next set may give, each with its words."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType


class Reason(StrEnum):
    """Why advice is as it is; `REASON_TEXTS` says each in words."""

    REFER_OUT = "refer_out"
    RESTRICTED = "restricted"
    NO_HISTORY = "no_history"
    FROM_ONE_RM = "from_one_rm"
    NO_ONE_RM = "no_one_rm"
    FIXED_LOAD = "fixed_load"
    SHARE_OF_ONE_RM = "share_of_one_rm"
    NO_LOAD = "no_load"
    ONE_MORE_REP = "one_more_rep"
    LOAD_UP = "load_up"
    LESS_REST = "less_rest"
    SLOWER = "slower"
    TOP_NOT_REACHED = "top_not_reached"
    NO_LEVER_LEFT = "no_lever_left"
    STEP_TOO_BIG = "step_too_big"
    AT_CAP = "at_cap"
    CAPPED = "capped"
    CAP_BELOW_EQUIPMENT = "cap_below_equipment"
    BELOW_EQUIPMENT = "below_equipment"
    TWO_FOR_TWO_WAITS = "two_for_two_waits"
    SETS_MISSING = "sets_missing"
    EFFORT_UNKNOWN = "effort_unknown"
    STOPPED_EARLY = "stopped_early"
    TOO_HARD = "too_hard"
    SHORT_LAST_TIME = "short_last_time"
    SHORT_SET = "short_set"
    SAME_LOAD_TODAY = "same_load_today"
    SETS_DONE = "sets_done"
    ENDED_BY_PAIN = "ended_by_pain"
    LIMIT_TODAY = "limit_today"
    PAIN_FAILED = "pain_failed"
    PAIN_UNKNOWN = "pain_unknown"
    PAIN_DURING = "pain_during"
    PAIN_AFTER = "pain_after"
    NOT_SETTLED = "not_settled"
    WEEK_RISING = "week_rising"
    FEW_EXPOSURES = "few_exposures"
    NO_REPORT = "no_report"
    NO_NEXT_MORNING = "no_next_morning"
    NO_USUAL_MORNING = "no_usual_morning"
    AT_LOWEST_LOAD = "at_lowest_load"
    DELOAD_WEEK = "deload_week"
    LAY_OFF = "lay_off"
    OTHER_HALF_MOVES = "other_half_moves"
    OTHER_HALF_HELD = "other_half_held"


REASON_TEXTS: Mapping[Reason, str] = MappingProxyType(
    {
        Reason.REFER_OUT: "a red flag or a stop is open: no training before a licensed clinician has decided",
        Reason.RESTRICTED: "the injury history says to avoid this exercise: ask the coach what to do instead",
        Reason.NO_HISTORY: "nothing is known yet: start light and add a little from set to set",
        Reason.FROM_ONE_RM: "the load comes from the estimated maximum of the same lift, rounded down",
        Reason.NO_ONE_RM: "the estimated maximum is not known: start light and find a load",
        Reason.FIXED_LOAD: "the coach has fixed the load",
        Reason.SHARE_OF_ONE_RM: "the load is the coach's share of the estimated maximum, rounded down",
        Reason.NO_LOAD: "the exercise has no load",
        Reason.ONE_MORE_REP: "one more repetition with the same load",
        Reason.LOAD_UP: "what was asked for was reached, so the load goes up by a step",
        Reason.LESS_REST: "the same work in less rest",
        Reason.SLOWER: "the same work, lowered a second slower",
        Reason.TOP_NOT_REACHED: "the top of the range was not reached in every set",
        Reason.NO_LEVER_LEFT: "none of the levers that the coach allows can move",
        Reason.STEP_TOO_BIG: "the next load that the equipment can make is too far above this one",
        Reason.AT_CAP: "the next load would lie above the coach's cap",
        Reason.CAPPED: "the load is kept at the coach's cap",
        Reason.CAP_BELOW_EQUIPMENT: "the coach's cap lies below the lowest load of the equipment",
        Reason.BELOW_EQUIPMENT: "the last load lies below the lowest one of the equipment",
        Reason.TWO_FOR_TWO_WAITS: "the load waits for two sessions with two extra repetitions in the last",
        Reason.SETS_MISSING: "fewer sets were done than asked for",
        Reason.EFFORT_UNKNOWN: "nobody reported how many repetitions were left: please report it",
        Reason.STOPPED_EARLY: "the set stopped short of the range with repetitions in reserve",
        Reason.TOO_HARD: "the range was reached only with fewer repetitions in reserve than asked for",
        Reason.SHORT_LAST_TIME: "the range was not reached last time, so the load comes down",
        Reason.SHORT_SET: "the set fell short of the range, so the load comes down",
        Reason.SAME_LOAD_TODAY: "within a session the load never goes up",
        Reason.SETS_DONE: "all sets of today are done",
        Reason.LIMIT_TODAY: "pain of today reached the limit: leave this for today, and tell the coach",
        Reason.ENDED_BY_PAIN: "pain ended a set: hold, and report the pain",
        Reason.PAIN_FAILED: "pain was above what the pain rules allow, so no lever moves",
        Reason.PAIN_UNKNOWN: "it is not known whether the pain rules were kept, so no lever moves",
        Reason.PAIN_DURING: "pain during training reached the limit",
        Reason.PAIN_AFTER: "pain after training reached the limit",
        Reason.NOT_SETTLED: "pain had not settled by the next morning",
        Reason.WEEK_RISING: "pain was higher this week than the week before",
        Reason.FEW_EXPOSURES: "fewer than two sessions tell about this joint",
        Reason.NO_REPORT: "pain during and after training was not reported: please report it",
        Reason.NO_NEXT_MORNING: "pain of the next morning was not reported: please report it",
        Reason.NO_USUAL_MORNING: "the usual pain of a morning is not known: please report mornings",
        Reason.AT_LOWEST_LOAD: "there is no lighter load, so it is held: ask the coach",
        Reason.DELOAD_WEEK: "a deload week holds every lever",
        Reason.LAY_OFF: "after days without this exercise it starts lower",
        Reason.OTHER_HALF_MOVES: "one lever moves at a time, and the other half's does",
        Reason.OTHER_HALF_HELD: "the other half is held or comes down, so this half stays",
    }
)  # fmt: skip
