"""Published checks of Mann-Kendall, Theil-Sen, false-discovery control and the change that counts."""

from itertools import count

import numpy as np

from coaching.compute.progress import ProgressSettings, minimal_detectable_change
from coaching.compute.trends import false_discovery_control, mann_kendall, theil_sen
from tests.compute.published_checks.check import COMPUTED, FORMULA_SEEN, SEEN, Check

WISCONSIN_CODE = "Wisconsin administrative code, five concentrations"
TIES = "S, ties and continuity: Gilbert 1987 (formula seen)"
EPA = "EPA QA/G-9, five concentrations (data and 0.117 from memory)"
ORDINAL = "invented ordinal pain, formulas of Gilbert 1987 and Sen 1968"
ENUMERATION = "enumeration of all orders"
MONITORING = "95 % column of a published table of a monitoring software"
BH = "Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300, the fifteen p values"
OPEN_LIBRARY = "documentation of an open library"
GRGIC = "Grgic 2020, Sports Med Open 6:31"
MDC = "z sqrt(2) CV / sqrt(n), CV of Grgic 2020"
CHILDS = "z sqrt(2) SEM, SEM 1.02 of Childs 2005, Spine 30(11):1331-1334"

KENDALL, LINE, CONTROL = "trends.mann_kendall", "trends.theil_sen", "trends.false_discovery_control"
CHANGE = "progress.minimal_detectable_change"

WISCONSIN = [100, 50, 85, 75, 50]
FIVE = [5, 6, 11, 8, 10]
DAYS = [0, 2, 5, 7, 9, 12, 14, 16, 19, 21]
PAIN = [2, 2, 3, 2, 3, 3, 4, 3, 4, 5]
BH_1995 = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
    0.7590, 1.0,
]  # fmt: skip
BH_ADJUSTED = (
    0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.063857, 0.063857, 0.0645, 0.0765, 0.486, 0.581182, 0.714875,
    0.753231, 0.813214, 1,
)  # fmt: skip

# One-sided shares of all orders without ties whose S is at least this.
EXACT_SHARES = {
    4: {4: 0.1667, 6: 0.0417},
    5: {6: 0.1167, 8: 0.0417, 10: 0.0083},
    6: {7: 0.1361, 9: 0.0681, 11: 0.0278, 13: 0.0083},
    7: {9: 0.1194, 11: 0.0681, 13: 0.0345, 15: 0.0151, 17: 0.0054},
    8: {12: 0.0894, 14: 0.0543, 16: 0.0305, 18: 0.0156, 20: 0.0071},
    9: {14: 0.0901, 16: 0.0597, 18: 0.0376, 20: 0.0223, 22: 0.0124},
    10: {17: 0.0779, 19: 0.0542, 21: 0.0363, 23: 0.0233, 25: 0.0143, 27: 0.0083},
}


def one_sided_exact(n: int, s: int) -> float:
    """Half the two-sided share, from an order of n values whose S is the one wanted."""
    order = list(range(n))
    inversions = (n * (n - 1) // 2 - s) // 2
    for place in range(n):
        step = min(inversions, n - 1 - place)
        order.insert(place, order.pop(place + step))
        inversions -= step
    found = mann_kendall(order)
    if found.s != s:
        raise AssertionError(f"an order with S = {s} was wanted, got {found.s}")
    return found.p_exact / 2


def smallest_significant(n: int) -> int:
    """Smallest S of n values whose one-sided share is at most 5 %."""
    parity = n * (n - 1) // 2 % 2
    return next(s for s in count(parity or 2, 2) if one_sided_exact(n, s) <= 0.05)


def exact_shares(place: int, n: int) -> Check:
    at_least = ", ".join(str(s) for s in EXACT_SHARES[n])
    return Check(
        f"T{place}", f"one-sided exact share of {n} values, S at least {at_least}", KENDALL,
        lambda: [one_sided_exact(n, s) for s in EXACT_SHARES[n]],
        tuple(EXACT_SHARES[n].values()), 5e-5, ENUMERATION, COMPUTED,
    )  # fmt: skip


def of_wisconsin(*fields: str) -> list[float]:
    return [getattr(mann_kendall(WISCONSIN), field) for field in fields]


def of_pain(*fields: str) -> list[float]:
    return [getattr(mann_kendall(PAIN), field) for field in fields]


def limits(confidence: float) -> tuple[float, float]:
    line = theil_sen(DAYS, PAIN, confidence)
    return line.low, line.high


def change_percent(n_averaged: int, confidence: float = 0.95) -> float:
    return 100 * float(minimal_detectable_change(np.array([0.042]), n_averaged, confidence)[0])


def change_points(confidence: float) -> float:
    return float(minimal_detectable_change(np.array([1.02]), confidence=confidence)[0])


TRENDS = (
    Check(
        "T01", "S of 100, 50, 85, 75, 50", KENDALL, lambda: of_wisconsin("s"), (-5,), 0, WISCONSIN_CODE, SEEN,
    ),
    Check(
        "T02", "its variance and Z, with one tie", KENDALL, lambda: of_wisconsin("variance", "z"),
        (15.66667, -1.010582), 1e-5, TIES, FORMULA_SEEN,
    ),
    Check(
        "T03", "its two-sided p and tau-b", KENDALL, lambda: of_wisconsin("p", "tau_b"),
        (0.3122, -0.5270), 1e-4, TIES, FORMULA_SEEN,
    ),
    Check(
        "T04", "its exact two-sided p", KENDALL, lambda: of_wisconsin("p_exact"), (1 / 3,), 1e-12,
        ENUMERATION, COMPUTED,
    ),
    Check(
        "T05", "S and exact one-sided p of 5, 6, 11, 8, 10", KENDALL,
        lambda: [mann_kendall(FIVE).s, mann_kendall(FIVE).p_exact / 2], (6, 0.11667), 1e-4, EPA, COMPUTED,
    ),
    Check(
        "T06", "its Z and two-sided p", KENDALL,
        lambda: [mann_kendall(FIVE).z, mann_kendall(FIVE).p], (1.224745, 0.2207), 5e-5, EPA, COMPUTED,
    ),
    Check(
        "T07", "its Theil-Sen slope per step", LINE, lambda: theil_sen(range(5), FIVE).slope, 1.125, 1e-12,
        EPA, COMPUTED,
    ),
    Check(
        "T08", "S, variance and Z of ten tied pain scores", KENDALL, lambda: of_pain("s", "variance", "z"),
        (31, 111.66667, 2.838961), 1e-5, ORDINAL, COMPUTED,
    ),
    Check("T09", "their two-sided p", KENDALL, lambda: of_pain("p"), (0.004526,), 1e-6, ORDINAL, COMPUTED),
    Check("T10", "their tau-b", KENDALL, lambda: of_pain("tau_b"), (0.781127,), 1e-5, ORDINAL, COMPUTED),
    Check(
        "T11", "their exact p against 200,000 random orders", KENDALL, lambda: of_pain("p_exact"),
        (0.0019,), 2e-4, ORDINAL, COMPUTED,
    ),
    Check(
        "T12", "their Theil-Sen slope a day", LINE, lambda: theil_sen(DAYS, PAIN).slope, 0.1176471, 1e-6,
        ORDINAL, COMPUTED,
    ),
    Check(
        "T13", "its intercept", LINE, lambda: theil_sen(DAYS, PAIN).intercept, 1.7647, 1e-4, ORDINAL,
        COMPUTED,
    ),
    Check("T14", "its 95 % limits", LINE, lambda: limits(0.95), (0, 0.2), 1e-4, ORDINAL, COMPUTED),
    Check("T15", "its 90 % limits", LINE, lambda: limits(0.90), (0.0714, 0.1667), 1e-4, ORDINAL, COMPUTED),
    Check(
        "T16", "variance of S of 10 and of 353 values without ties", KENDALL,
        lambda: [mann_kendall(range(n)).variance for n in (10, 353)], (125, 4908112), 0, TIES, FORMULA_SEEN,
    ),
    Check(
        "T17", "exact one-sided share of 5 values, S at least 8", KENDALL,
        lambda: one_sided_exact(5, 8), 0.041667, 1e-5, ENUMERATION, COMPUTED,
    ),
    Check(
        "T18", "smallest S that is significant at one-sided 5 %, 4 to 10 values", KENDALL,
        lambda: [smallest_significant(n) for n in range(4, 11)], (6, 8, 11, 13, 16, 18, 21), 0, MONITORING,
        SEEN,
    ),
    *(exact_shares(place, n) for place, n in enumerate(EXACT_SHARES, start=19)),
)  # fmt: skip

FALSE_DISCOVERIES = (
    Check(
        "F01", "rejected at q = 0.05", CONTROL,
        lambda: int((false_discovery_control(BH_1995) <= 0.05).sum()), 4, 0, BH, SEEN,
    ),
    Check(
        "F02", "rejected at q = 0.10", CONTROL,
        lambda: int((false_discovery_control(BH_1995) <= 0.10).sum()), 9, 0, BH, COMPUTED,
    ),
    Check(
        "F03", "all fifteen adjusted", CONTROL,
        lambda: false_discovery_control(BH_1995), BH_ADJUSTED, 1e-6, BH, COMPUTED,
    ),
    Check(
        "F04", "0.008, 0.03, 0.123, 0.6, 0.2 adjusted", CONTROL,
        lambda: false_discovery_control([0.008, 0.03, 0.123, 0.6, 0.2]),
        (0.04, 0.075, 0.205, 0.6, 0.25), 1e-6, OPEN_LIBRARY, SEEN,
    ),
)  # fmt: skip

PROGRESS = (
    Check(
        "P01", "assumed noise of one measurement of the maximum: median CV", "progress.ProgressSettings",
        lambda: ProgressSettings().assumed_noise, 0.042, 0, GRGIC, SEEN,
    ),
    Check(
        "P02", "change beyond noise in percent, one test against one; three against three", CHANGE,
        lambda: [change_percent(1), change_percent(3)], (11.64, 6.72), 0.01, MDC, COMPUTED,
    ),
    Check(
        "P03", "the same for averages of 2, 4 and 5", CHANGE,
        lambda: [change_percent(n) for n in (2, 4, 5)], (8.23, 5.82, 5.21), 0.01, MDC, COMPUTED,
    ),
    Check(
        "P04", "one against one at 90 %", CHANGE, lambda: change_percent(1, 0.9), 9.77, 0.01, MDC, COMPUTED,
    ),
    Check(
        "P05", "change of a pain score beyond noise, 95 and 90 %", CHANGE,
        lambda: [change_points(0.95), change_points(0.90)], (2.8273, 2.3729), 1e-3, CHILDS, FORMULA_SEEN,
    ),
)  # fmt: skip
