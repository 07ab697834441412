"""Published checks of the next load, the return after a lay-off and the warm-up."""

from decimal import Decimal

from coaching.compute.equipment import Equipment
from coaching.compute.lay_off import layoff_start, return_volumes
from coaching.compute.load_step import bound_load_step, choose_heavier_load, is_two_for_two, predict_reps
from coaching.compute.warm_up import warm_up_ramp
from tests.compute.published_checks.check import (
    COMPUTED,
    DESIGN,
    FROM_MEMORY,
    SECOND_HAND,
    SEEN,
    Check,
)

ACSM = "ACSM position stand 2009, MSSE 41(3):687-708"
TWO_FOR_TWO = "Baechle and Earle, Weight Training: Steps to Success"
CATERISANO = "Caterisano 2019, Strength Cond J 41(3):1-23"
USAGE = "common practice, no source"
JUDGEMENT = "coach judgement"

BOUNDS, CHOICE, PREDICTED = (
    "load_step.bound_load_step",
    "load_step.choose_heavier_load",
    "load_step.predict_reps",
)
RULE, RETURN, START = "load_step.is_two_for_two", "lay_off.return_volumes", "lay_off.layoff_start"
RAMP = "warm_up.warm_up_ramp"

SIXTY = Decimal(60)
TWO_AND_A_HALF_KG = Equipment(2500)


def bounds() -> list[Decimal]:
    found = bound_load_step(SIXTY)
    return [found.low_kg, found.high_kg]


def chosen(load_kg: int, step_thousandths: int) -> Decimal | str:
    return choose_heavier_load(Decimal(load_kg), Equipment(step_thousandths)) or "none"


def ramp() -> list[float]:
    sets = warm_up_ramp(Decimal(100), TWO_AND_A_HALF_KG)
    return [float(number) for each in sets for number in (each.load_kg, each.reps, each.rest_s)]


def starts(*days: int) -> list[float]:
    found = [layoff_start(each) for each in days]
    return [share for start in found for share in (start.load_share, start.sets_share)]


NEXT_LOAD = (
    Check("L01", "load step of 2 to 10 % on 60 kg", BOUNDS, bounds, (Decimal("61.2"), 66), 0, ACSM, SEEN),
    Check(
        "L02", "the next load after 60 kg with steps of 2.5 and of 5 kg: the smallest within", CHOICE,
        lambda: [chosen(60, 2500), chosen(60, 5000)], (Decimal("62.5"), 65), 0, ACSM,
        "bounds seen, choice design",
    ),
    Check(
        "L03", "after 30 kg with steps of 2.5 kg (8.3 %), after 20 kg (12.5 %)", CHOICE,
        lambda: [chosen(30, 2500), chosen(20, 2500)], (Decimal("32.5"), "none"), 0, ACSM,
        "bounds seen, value computed",
    ),
    Check(
        "L04", "last sets of 12 and 12 on a goal of 10: raise the load", RULE,
        lambda: is_two_for_two(10, [12, 12]), True, 0, TWO_FOR_TWO, SECOND_HAND,
    ),
    Check(
        "L05", "last sets of 12 and 11 on a goal of 10", RULE,
        lambda: is_two_for_two(10, [12, 11]), False, 0, TWO_FOR_TWO, SECOND_HAND,
    ),
    Check(
        "L06", "last sets of 13 and 12 with a session missed between: the sessions of that exercise count",
        RULE, lambda: is_two_for_two(10, [13, 12]), True, 0, TWO_FOR_TWO, "second-hand, reading design",
    ),
    Check(
        "L07", "reps with 62.5 and 65 kg after 60 kg x 10, Epley", PREDICTED,
        lambda: [predict_reps(SIXTY, 10, 0, Decimal(each)) for each in ("62.5", "65")],
        (8.4, 6.9231), 1e-4, "30 (L1 (1 + r1/30) / L2 - 1)", COMPUTED,
    ),
    Check(
        "L08", "the same after 60 kg x 12: above 10 no load is reckoned (the formula alone: S22)", PREDICTED,
        lambda: predict_reps(SIXTY, 12, 0, Decimal("62.5")), float("nan"), 0, "limit of 10 repetitions",
        DESIGN,
    ),
    Check(
        "L09", "return in four weeks from 1000: 50, 30, 20, 10 % off", RETURN, lambda: return_volumes(1000),
        (500, 700, 800, 900), 1e-9, CATERISANO, FROM_MEMORY,
    ),
    Check(
        "L10", "return in two weeks from 1000: 50, 30 % off", RETURN, lambda: return_volumes(1000, 2),
        (500, 700), 1e-9, CATERISANO, FROM_MEMORY,
    ),
    Check(
        "L11", "shares of load and sets after 7, 14, 28, 56 and 57 days without the exercise", START,
        lambda: starts(7, 14, 28, 56, 57), (1, 1, 0.9, 1, 0.8, 0.7, 0.7, 0.5, 0.5, 0.5), 0, JUDGEMENT, DESIGN,
    ),
    Check(
        "L12", "warm-up before 100 kg: load, reps and rest of each set", RAMP, ramp,
        (50, 5, 30, 70, 3, 30, 95, 1, 30), 0, USAGE, DESIGN,
    ),
)  # fmt: skip
