"""Published checks of a plan's dose and length, of tolerated exposure, and of left against right."""

import math

import numpy as np

from coaching.compute.plan_dose import week_dose
from coaching.compute.session_length import DEFAULT_SETTINGS, session_length
from coaching.compute.side_difference import SideSettings, lift_side_differences, pain_side_differences
from coaching.compute.tolerated import tolerated_exposure
from tests.compute.planned import day, exercise, planned
from tests.compute.published_checks.check import (
    COMPUTED,
    DESIGN,
    FORMULA_SEEN,
    FROM_MEMORY,
    SEEN,
    Check,
)

PELLAND = "weights of Pelland 2024, SportRxiv"
LASEVICIUS = "after Lasevicius 2022, JSCR 36(2):346-351"
ACSM = "1 to 2 s either way: Ratamess 2009 (ACSM), MSSE 41(3):687-708"
DEFINITION = "definition"
JOINT_REPS = "definition; stress is coach judgement"
MONITORING = (
    "pain-monitoring model: Thomee 1997, Phys Ther 77(12):1690-1703; Silbernagel 2007, AJSM 35(6):897-906"
)
GRGIC = "z x sqrt(2) x CV / sqrt(n), median CV 4.2 %: Grgic 2020, Sports Med Open 6:31"
CHILDS = "1.96 x sqrt(2) x SEM, SEM 1.02: Childs 2005, Spine 30(11):1331-1334"

WEEK, LENGTH = "plan_dose.week_dose", "session_length.session_length"
QUIET = "tolerated.tolerated_exposure"
LIFTS, JOINTS = "side_difference.lift_side_differences", "side_difference.pain_side_differences"

BENCH = exercise("bench", direct=["chest"], indirect=["triceps", "front_delt"], stress={"shoulder": 1.0})
OVERHEAD = exercise("overhead", direct=["front_delt"], indirect=["triceps"], stress={"shoulder": 1.0})
EXTENSION = exercise("extension", direct=["triceps"], stress={"elbow": 1.0})


def hard_sets_of_three_presses() -> list[float]:
    week = [day(planned(BENCH, 4, rir=2), planned(OVERHEAD, 3, rir=2), planned(EXTENSION, 3, rir=2))]
    return [muscle.hard_sets for muscle in week_dose(week).muscles]


def hard_sets_at(share: float, rir: float) -> float:
    row = planned(EXTENSION, 3, rir=rir, share_of_1rm=share)
    return week_dose([day(row)]).muscles[0].hard_sets


def left_elbow(reps: int, load_kg: float) -> list[float]:
    site = week_dose([day(planned(EXTENSION, 3, reps, reps, load_kg=load_kg))]).sites[0]
    return [site.joint_reps, site.joint_load_kg]


def minutes_of_sets(tempo: str) -> list[float]:
    """Three sets of ten with two rests of 75 seconds."""
    length = session_length(day(planned(EXTENSION, 3, 10, 10, tempo=tempo), rest_s=75))
    return [length.low_min, length.high_min]


def is_quiet(pain: tuple[float, float], morning: tuple[float, float]) -> bool:
    """Two weeks of one number each; whether the second lets the first pass as tolerated."""
    rows = [np.repeat([each], 7, axis=1).astype(float) for each in (pain, morning)]
    found = tolerated_exposure(np.full((1, 14), 10.0), *rows, np.array([math.nan]))
    return bool(found.n_quiet[0] == 1)


def half_width_percent(n: int, confidence: float = 0.95) -> float:
    days, kg = np.arange(1.0, n + 1)[None, :], np.full((1, n), 80.0)
    settings = SideSettings(confidence=confidence)
    found = lift_side_differences(days, kg, days, kg, as_of_day=84, settings=settings)
    return float(found.noise_half_width[0])


def half_width_points(confidence: float) -> float:
    one = np.array([[3.0]])
    found = pain_side_differences(one, one, settings=SideSettings(confidence=confidence))
    return float(found.noise_half_width[0])


def percent_apart(left_kg: float, right_kg: float) -> float:
    day_one = np.ones((1, 1))
    sides = [np.full((1, 1), kg) for kg in (left_kg, right_kg)]
    return float(lift_side_differences(day_one, sides[0], day_one, sides[1], as_of_day=84).difference[0])


PLANS = (
    Check(
        "PD01",
        "hard sets of chest, front delt and triceps from a plan: bench press 4, overhead press 3, triceps "
        "extension 3",
        WEEK, hard_sets_of_three_presses, (4.0, 5.0, 6.5), 0, PELLAND, FORMULA_SEEN,
    ),
    Check(
        "PD02", "hard sets of 3 planned at 40 % of the 1RM with 3 in reserve, with 2, and at 80 % with 3",
        WEEK,
        lambda: [hard_sets_at(0.4, 3), hard_sets_at(0.4, 2), hard_sets_at(0.8, 3)], (0, 3, 3), 0,
        LASEVICIUS, DESIGN,
    ),
    Check(
        "PD03", "joint reps and joint load of 3 x 10 x 60 kg on a joint of stress 1", WEEK,
        lambda: left_elbow(10, 60), (30, 1800), 0, JOINT_REPS, COMPUTED,
    ),
    Check(
        "PD04", "minutes of 3 x 10 at 3-1-1-0 (50 s a set) with two rests of 75 s", LENGTH,
        lambda: minutes_of_sets("3-1-1-0"), (5, 5), 1e-9, DEFINITION, COMPUTED,
    ),
    Check(
        "PD05", "seconds of a repetition without a tempo, fewest and most", "session_length.DEFAULT_SETTINGS",
        lambda: [DEFAULT_SETTINGS.rep_low_s, DEFAULT_SETTINGS.rep_high_s], (2, 4), 0, ACSM, SEEN,
    ),
    Check(
        "PD06", "the same sets without a tempo: minutes at 2 and at 4 s a repetition", LENGTH,
        lambda: minutes_of_sets(""), (3.5, 4.5), 1e-9, ACSM, COMPUTED,
    ),
)  # fmt: skip

TOLERATED = (
    Check(
        "TE01", "a week of pain 5 with calm mornings passes as quiet", QUIET,
        lambda: is_quiet((5, 5), (1, 1)), True, 0, MONITORING, FROM_MEMORY,
    ),
    Check(
        "TE02", "one of pain 6 does not", QUIET, lambda: is_quiet((6, 6), (1, 1)), False, 0, MONITORING,
        FROM_MEMORY,
    ),
    Check(
        "TE03", "weekly pain from 1 to 3 does not: it rises from week to week", QUIET,
        lambda: is_quiet((1, 3), (1, 1)), False, 0, MONITORING, FROM_MEMORY,
    ),
    Check(
        "TE04", "from 1 to 2 does: within the tolerance of 1", QUIET,
        lambda: is_quiet((1, 2), (1, 1)), True, 0, MONITORING, DESIGN,
    ),
    Check(
        "TE05", "no next morning known: not passed as quiet", QUIET,
        lambda: is_quiet((1, 1), (math.nan, math.nan)), False, 0, MONITORING, DESIGN,
    ),
)  # fmt: skip

SIDES = (
    Check(
        "SD01", "difference of sides beyond noise in percent, one test against one; three against three",
        LIFTS,
        lambda: [half_width_percent(1), half_width_percent(3)], (11.64, 6.72), 0.01, GRGIC, COMPUTED,
    ),
    Check(
        "SD02", "the same for 2, 4 and 5", LIFTS, lambda: [half_width_percent(n) for n in (2, 4, 5)],
        (8.23, 5.82, 5.21), 0.01, GRGIC, COMPUTED,
    ),
    Check(
        "SD03", "one against one at 90 %", LIFTS, lambda: half_width_percent(1, 0.9), 9.77, 0.01, GRGIC,
        COMPUTED,
    ),
    Check(
        "SD04", "difference of one pain report a side beyond noise, 95 and 90 %", JOINTS,
        lambda: [half_width_points(0.95), half_width_points(0.90)], (2.8273, 2.3729), 1e-3, CHILDS,
        FORMULA_SEEN,
    ),
    Check(
        "SD05", "80 and 100 kg, left then right, and the other way round, in percent of the larger", LIFTS,
        lambda: [percent_apart(80, 100), percent_apart(100, 80)], (20, -20), 1e-9, DEFINITION, DESIGN,
    ),
)  # fmt: skip
