"""Published checks of session load, monotony, strain, averages and ratios."""

from coaching.compute.workload import (
    ewma,
    ewma_ratio,
    monotony,
    rolling_ratio,
    session_load,
    strain,
    weekly_total,
)
from tests.compute.published_checks.check import COMPUTED, FORMULA_SEEN, SEEN, Check

FOSTER = "Foster 1998, Med Sci Sports Exerc 30(7):1164-1168"
WEEKS = "invented week, formula of Foster 1998 (no complete published example could be verified)"
WILLIAMS = "Williams 2017, Br J Sports Med 51(3):209-210"
STEP_SOURCE = "input of an open implementation's own test"
COUPLING = "coupled = 4 u / (u + 3)"
NIST_EWMA = "NIST/SEMATECH e-Handbook 6.3.2.4"

WEEK_A = [300, 0, 525, 0, 360, 360, 0]
WEEK_B = [420, 0, 540, 0, 360, 0, 300]
STEP = [30.0] * 21 + [50.0] * 7

# Lambda 0.3, started at the target 50; printed to two decimals.
NIST_VALUES = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
NIST_PRINTED = (
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
)  # fmt: skip


def both(compute, week):
    """With the sample and with the population standard deviation."""
    return [compute(week, ddof) for ddof in (1, 0)]


def coupled_where_uncoupled_is(ratio: float) -> float:
    return rolling_ratio([100.0] * 21 + [100.0 * ratio] * 7, "coupled").ratio


LOAD = (
    Check(
        "W01", "load of 60 minutes at an effort of 7", "workload.session_load", lambda: session_load(7, 60),
        420, 0, FOSTER, SEEN,
    ),
    Check(
        "W02", "total of week A: 300 0 525 0 360 360 0", "workload.weekly_total",
        lambda: weekly_total(WEEK_A), 1545, 0, WEEKS, COMPUTED,
    ),
    Check(
        "W03", "total of week B: 420 0 540 0 360 0 300", "workload.weekly_total",
        lambda: weekly_total(WEEK_B), 1620, 0, WEEKS, COMPUTED,
    ),
    Check(
        "W04", "monotony of week A, sample and population form", "workload.monotony",
        lambda: both(monotony, WEEK_A), (1.014807, 1.096117), 1e-5, WEEKS, COMPUTED,
    ),
    Check(
        "W05", "monotony of week B, likewise", "workload.monotony",
        lambda: both(monotony, WEEK_B), (1.0138, 1.0950), 1e-4, WEEKS, COMPUTED,
    ),
    Check(
        "W06", "strain of week A, likewise", "workload.strain",
        lambda: both(strain, WEEK_A), (1567.877, 1693.501), 0.01, WEEKS, COMPUTED,
    ),
    Check(
        "W07", "strain of week B, likewise", "workload.strain",
        lambda: both(strain, WEEK_B), (1642.30, 1773.89), 0.01, WEEKS, COMPUTED,
    ),
    Check(
        "W08", "monotony of seven equal days", "workload.monotony",
        lambda: monotony([300] * 7), float("nan"), 0, "division by a standard deviation of 0", COMPUTED,
    ),
    Check(
        "W09", "weight of the newest day, spans 7 and 28", "workload.ewma",
        lambda: [ewma([0, 1], span)[-1] for span in (7, 28)], (0.25, 0.06896552), 1e-8, WILLIAMS, SEEN,
    ),
    Check(
        "W10", "averages of 21 days at 30 and 7 at 50, spans 7 and 28", "workload.ewma",
        lambda: [ewma(STEP, span)[-1] for span in (7, 28)], (47.330322, 37.871967), 1e-5, STEP_SOURCE,
        FORMULA_SEEN,
    ),
    Check(
        "W11", "weight of the seed in the average of span 28 after 28 and 56 days", "workload.ewma",
        lambda: [ewma([1] + [0] * days, 28)[-1] for days in (28, 56)],
        (0.135220, 0.018284), 1e-5, "(1 - lambda)^n", COMPUTED,
    ),
    Check(
        "W12", "ratio of these averages, printed as 1.25 for one athlete", "workload.ewma_ratio",
        lambda: ewma_ratio(STEP).ratio, 1.25, 0.005, WILLIAMS, SEEN,
    ),
    Check(
        "W13", "the same to six decimals", "workload.ewma_ratio",
        lambda: ewma_ratio(STEP).ratio, 1.249746, 1e-5, STEP_SOURCE, FORMULA_SEEN,
    ),
    Check(
        "W14", "coupled ratio of the same days, printed as 1.43", "workload.rolling_ratio",
        lambda: rolling_ratio(STEP, "coupled").ratio, 1.43, 0.005, WILLIAMS, SEEN,
    ),
    Check(
        "W15", "coupled and uncoupled ratio of the same days", "workload.rolling_ratio",
        lambda: [rolling_ratio(STEP, method).ratio for method in ("coupled", "uncoupled")],
        (1.428571, 1.666667), 1e-6, "50/35 and 50/30", COMPUTED,
    ),
    Check(
        "W16", "coupled ratio where the uncoupled one is 1.5, 1.3 and 1.8", "workload.rolling_ratio",
        lambda: [coupled_where_uncoupled_is(ratio) for ratio in (1.5, 1.3, 1.8)],
        (4 / 3, 1.209302, 1.5), 1e-6, COUPLING, COMPUTED,
    ),
    Check(
        "W17", "the twenty averages of the worked series, lambda 0.3, target 50", "workload.ewma",
        lambda: ewma([50, *NIST_VALUES], span=2 / 0.3 - 1)[1:], NIST_PRINTED, 0.0051, NIST_EWMA, SEEN,
    ),
)  # fmt: skip
