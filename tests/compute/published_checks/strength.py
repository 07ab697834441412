"""Published checks of the estimated maximum, of effort and of exposure."""

import numpy as np

from coaching.compute.effort import is_hard_set, rir_from_rpe
from coaching.compute.exposure import (
    density,
    emphasise_heavy_reps,
    hard_sets_per_muscle,
    time_under_tension,
    volume_load_kg,
)
from coaching.compute.strength import (
    FORMULAS,
    NSCA_TEXTBOOK_TABLE,
    NSCA_TRAINING_LOAD_CHART,
    estimated_1rm,
    estimated_1rm_band,
    reps_for_load,
)
from tests.compute.published_checks.check import (
    COMPUTED,
    DESIGN,
    FORMULA_SEEN,
    FROM_MEMORY,
    REFUSED,
    SEEN,
    Check,
    answer_to,
)

EPLEY = "Epley 1985, Poundage Chart (citation second-hand)"
BRZYCKI = "Brzycki 1993, JOPERD 64(1):88-90"
LOMBARDI = "Lombardi 1989, Beginning Weight Training (citation from memory)"
MAYHEW = "Mayhew 1992, J Appl Sport Sci Res 6(4):200-206 (citation from memory)"
OCONNER = "O'Conner 1989, Weight Training Today (citation from memory)"
WATHAN = "Wathan 1994, in Baechle (ed), Essentials (citation from memory)"
SIX_FORMULAS = "the six formulas, as cited above"
CHART = "NSCA Training Load Chart"
TEXTBOOK = "Baechle and Earle (eds), Essentials of Strength Training and Conditioning"
ZOURDOS = "Zourdos 2016, JSCR 30(1):267-275"
PELLAND = "weights of Pelland 2024, SportRxiv"
LASEVICIUS = "after Lasevicius 2022, JSCR 36(2):346-351"
DEFINITION = "definition"
USAGE = "common practice, no source"
EDWARDS = "definition, form after Edwards 2018, Exerc Sport Sci Rev 46(4):224-231"

E1RM, BAND, INVERSE = "strength.estimated_1rm", "strength.estimated_1rm_band", "strength.reps_for_load"
CHART_OF_OURS, TABLE_OF_OURS = "strength.NSCA_TRAINING_LOAD_CHART", "strength.NSCA_TEXTBOOK_TABLE"
RPE, HARD = "effort.rir_from_rpe", "effort.is_hard_set"
EMPHASIS = "exposure.emphasise_heavy_reps"

# 100 kg to failure by Epley, Brzycki, Lombardi, Mayhew, O'Conner and Wathan, to two decimals.
WORKED_VALUES = {
    2: (106.67, 102.86, 107.18, 111.44, 105.00, 105.15),
    3: (110.00, 105.88, 111.61, 113.99, 107.50, 108.98),
    6: (120.00, 116.13, 119.62, 121.47, 115.00, 120.33),
    7: (123.33, 120.00, 121.48, 123.90, 117.50, 124.03),
    8: (126.67, 124.14, 123.11, 126.29, 120.00, 127.67),
    10: (133.33, 133.33, 125.89, 130.93, 125.00, 134.75),
    12: (140.00, 144.00, 128.21, 135.40, 130.00, 141.50),
    15: (150.00, 163.64, 131.10, 141.72, 137.50, 150.91),
    20: (166.67, 211.76, 134.93, 151.18, 150.00, 164.46),
}


def five_reps(formula: str) -> float:
    return estimated_1rm(100, 5, formula=formula)


def by_every_formula(reps: int) -> list[float]:
    return [estimated_1rm(100, reps, formula=formula) for formula in FORMULAS]


def worked(place: int, reps: int) -> Check:
    quantity = f"e1RM of 100 kg x {reps}, all six formulas"
    expected = WORKED_VALUES[reps]
    return Check(
        f"S{place}",
        quantity,
        E1RM,
        lambda: by_every_formula(reps),
        expected,
        0.01,
        SIX_FORMULAS,
        FORMULA_SEEN,
    )


def hard_sets_of_three_presses() -> list[float]:
    """Bench press 4, overhead press 3, triceps extension 3; for chest, front delt and triceps."""
    chest, front_delt, triceps = [1, 0, 0], [0.5, 1, 0], [0.5, 0.5, 1]
    role = np.repeat(np.transpose([chest, front_delt, triceps]), [4, 3, 3], axis=0)
    return hard_sets_per_muscle([True] * 10, role).tolist()


def emphasised(reps: float, share: float, exponent: float) -> float:
    return float(emphasise_heavy_reps(reps, share, exponent))


STRENGTH = (
    Check(
        "S01", "e1RM of 100 kg x 5, Epley", E1RM, lambda: five_reps("epley"), 116.6667, 1e-3, EPLEY,
        FORMULA_SEEN,
    ),
    Check("S02", "the same, Brzycki", E1RM, lambda: five_reps("brzycki"), 112.5, 1e-3, BRZYCKI, FORMULA_SEEN),
    Check(
        "S03", "the same, Lombardi", E1RM, lambda: five_reps("lombardi"), 117.4619, 1e-3, LOMBARDI,
        FORMULA_SEEN,
    ),
    Check("S04", "the same, Mayhew", E1RM, lambda: five_reps("mayhew"), 119.01, 0.01, MAYHEW, FORMULA_SEEN),
    Check(
        "S05", "the same, O'Conner", E1RM, lambda: five_reps("oconner"), 112.5, 1e-3, OCONNER, FORMULA_SEEN,
    ),
    Check("S06", "the same, Wathan", E1RM, lambda: five_reps("wathan"), 116.58, 0.01, WATHAN, FORMULA_SEEN),
    Check(
        "S07", "Brzycki by its second printed form, 1/(1.0278 - 0.0278 r), at 5 reps",
        E1RM, lambda: five_reps("brzycki"), 100 / (1.0278 - 0.0278 * 5), 0.02, BRZYCKI, FORMULA_SEEN,
    ),
    Check(
        "S08", "Epley and Brzycki meet at 10 reps", E1RM,
        lambda: [estimated_1rm(100, 10, formula=formula) for formula in ("epley", "brzycki")],
        (400 / 3, 400 / 3), 1e-6, "root of r^2 - 7 r - 30 = 0", COMPUTED,
    ),
    Check(
        "S09", "Brzycki at its pole, 37 reps", E1RM,
        lambda: answer_to(lambda: estimated_1rm(100, 37, formula="brzycki")),
        REFUSED, 0, "36/(37 - r)", COMPUTED,
    ),
    Check(
        "S10", "one rep to failure with 100 kg, all six formulas", E1RM, lambda: by_every_formula(1),
        (100,) * 6, 0, USAGE, DESIGN,
    ),
    *(worked(place, reps) for place, reps in enumerate(WORKED_VALUES, start=11)),
    Check(
        "S20", "100 kg x 5 with 2 in reserve, Epley and Brzycki", E1RM,
        lambda: [estimated_1rm(100, 5, 2, formula) for formula in ("epley", "brzycki")],
        (123.3333, 120.0), 1e-3, "the formula on reps + reserve", COMPUTED,
    ),
    Check(
        "S21", "what one rep of misjudged reserve adds to 100 kg x 5, Epley: 1/30 of the load", BAND,
        lambda: estimated_1rm_band(100, 5).high - estimated_1rm_band(100, 5).mid, 100 / 30, 1e-9, EPLEY,
        COMPUTED,
    ),
    Check(
        "S22", "reps with 62.5 and 65 kg after 60 kg x 12, Epley", INVERSE,
        lambda: [reps_for_load(estimated_1rm(60, 12), load_kg) for load_kg in (62.5, 65)],
        (10.32, 8.77), 0.01, "30 (e1RM / load - 1)", COMPUTED,
    ),
    Check(
        "S23", "share of the 1RM for 8 reps, chart", CHART_OF_OURS, lambda: NSCA_TRAINING_LOAD_CHART[8], 80,
        0, CHART, SEEN,
    ),
    Check(
        "S24", "share of the 1RM for 12 reps, chart", CHART_OF_OURS, lambda: NSCA_TRAINING_LOAD_CHART[12], 70,
        0, CHART, SEEN,
    ),
    Check(
        "S25", "the same, textbook", TABLE_OF_OURS, lambda: NSCA_TEXTBOOK_TABLE[12], 67, 0, TEXTBOOK,
        FROM_MEMORY,
    ),
    Check(
        "S26", "the chart, 1 to 10 reps", CHART_OF_OURS,
        lambda: [NSCA_TRAINING_LOAD_CHART[reps] for reps in range(1, 11)],
        (100, 95, 93, 90, 87, 85, 83, 80, 77, 75), 0, CHART, SEEN,
    ),
    Check(
        "S27", "the textbook table, 1 to 10 reps", TABLE_OF_OURS,
        lambda: [NSCA_TEXTBOOK_TABLE[reps] for reps in range(1, 11)],
        (100, 95, 93, 90, 87, 85, 83, 80, 77, 75), 0, TEXTBOOK, SEEN,
    ),
    Check(
        "S28", "the textbook table, 11 and 15 reps", TABLE_OF_OURS,
        lambda: [NSCA_TEXTBOOK_TABLE[reps] for reps in (11, 15)], (70, 65), 0, TEXTBOOK, FROM_MEMORY,
    ),
)  # fmt: skip

EFFORT = (
    Check("E01", "reserve at an effort of 9", RPE, lambda: rir_from_rpe(9), 1, 0, ZOURDOS, SEEN),
    Check("E02", "reserve at an effort of 10", RPE, lambda: rir_from_rpe(10), 0, 0, ZOURDOS, SEEN),
    Check(
        "E03", "reserve at 9.5, 8.5, 8, 7.5 and 7", RPE,
        lambda: [rir_from_rpe(rpe) for rpe in (9.5, 8.5, 8, 7.5, 7)], (0.5, 1.5, 2, 2.5, 3), 0, ZOURDOS,
        FROM_MEMORY,
    ),
    Check(
        "E04", "reserve at 6, where the scale gives no single number", RPE, lambda: rir_from_rpe(6),
        float("nan"), 0, ZOURDOS, FROM_MEMORY,
    ),
    Check(
        "E05", "hard set: 30 % of the 1RM to failure, and stopped well short of it", HARD,
        lambda: [is_hard_set(None, to_failure=True, share_of_1rm=0.3), is_hard_set(4, share_of_1rm=0.3)],
        (True, False), 0, LASEVICIUS, DESIGN,
    ),
    Check(
        "E06", "hard set: 80 % of the 1RM, stopped short of failure", HARD,
        lambda: is_hard_set(4, share_of_1rm=0.8), True, 0, LASEVICIUS, DESIGN,
    ),
)  # fmt: skip

EXPOSURE = (
    Check(
        "X01",
        "hard sets of chest, front delt and triceps: bench press 4, overhead press 3, triceps extension 3",
        "exposure.hard_sets_per_muscle", hard_sets_of_three_presses, (4.0, 5.0, 6.5), 0, PELLAND,
        FORMULA_SEEN,
    ),
    Check(
        "X02", "volume load of 3 x 10 x 60 kg", "exposure.volume_load_kg",
        lambda: volume_load_kg([10] * 3, [60] * 3), 1800, 0, DEFINITION, COMPUTED,
    ),
    Check(
        "X03", "time under tension of 10 reps at 3-1-1-0", "exposure.time_under_tension",
        lambda: time_under_tension(10, "3-1-1-0"), 50, 0, USAGE, COMPUTED,
    ),
    Check(
        "X04", "the same of 8 reps at 4-0-X-1, X = 1 s", "exposure.time_under_tension",
        lambda: time_under_tension(8, "4-0-X-1"), 48, 0, USAGE, DESIGN,
    ),
    Check(
        "X05", "density of 5400 kg in 45 minutes", "exposure.density",
        lambda: density(5400, 45), 120, 0, DEFINITION, COMPUTED,
    ),
    Check(
        "X06", "30 reps at 70 % and 15 at 90 %, exponent 1", EMPHASIS,
        lambda: [emphasised(30, 0.7, 1), emphasised(15, 0.9, 1)], (21.0, 13.5), 1e-9, EDWARDS, COMPUTED,
    ),
    Check(
        "X07", "the same, exponent 9", EMPHASIS,
        lambda: [emphasised(30, 0.7, 9), emphasised(15, 0.9, 9)], (1.2106, 5.8113), 1e-4, EDWARDS, COMPUTED,
    ),
    Check(
        "X08", "a tenth more load, exponents 7, 9 and 10", EMPHASIS,
        lambda: [emphasised(1, 1.1, exponent) for exponent in (7, 9, 10)],
        (1.9487, 2.3579, 2.5937), 1e-4, EDWARDS, COMPUTED,
    ),
    Check(
        "X09", "a fifth less load, exponent 9", EMPHASIS, lambda: emphasised(1, 0.8, 9), 0.134, 5e-4, EDWARDS,
        COMPUTED,
    ),
    Check(
        "X10", "relative volume of 3 x 10 at half the 1RM, and of 3 x 10 at 70 % (exponent 1)", EMPHASIS,
        lambda: [float(emphasise_heavy_reps([10] * 3, share, 1).sum()) for share in (0.5, 0.7)],
        (15, 21), 1e-9, DEFINITION, COMPUTED,
    ),
)  # fmt: skip
