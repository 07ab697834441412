"""The bench in one go, and its results as a table or as one JSON object."""

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from coaching.bench import adherence, lifts, rules
from coaching.bench.adherence import AdherenceResult, measure_adherence
from coaching.bench.cohorts import FALLING_KIND, FLARE_KINDS, KINDS, QUIET_KINDS, generate
from coaching.bench.lifts import LiftResult, measure_lift_rules
from coaching.bench.measures import (
    Found,
    PainResult,
    best_limit,
    measure_pain_rules,
    share_of_falling_called_rising,
)
from coaching.bench.rules import ScoredCohort, score_cohort


@dataclass(frozen=True, slots=True)
class BenchResult:
    """All results of one run; limit_rule is the told-all detector that flags more flares."""

    seed: int
    size: int
    pain: tuple[PainResult, ...]
    falling_called_rising: Found
    limit_rule: str
    lifts: tuple[LiftResult, ...]
    adherence: tuple[AdherenceResult, ...]


def run_bench(*, size: int, seed: int, tell: Callable[[str], object]) -> BenchResult:
    """Measure every rule on `size` clients of each kind and `size` lifts of each status."""
    scored: dict[str, ScoredCohort] = {}
    for kind in KINDS:
        tell(f"nights of {size} clients: {kind}")
        scored[kind] = score_cohort(generate(kind, size, seed))
    tell("thresholds at the same false rate, and trade-off curves")
    pain = measure_pain_rules(scored)
    tell(f"nights of {size} lifts of each status")
    lift_results = measure_lift_rules(size, seed)
    tell(f"nights of {size} clients with a plan, of each kind")
    return BenchResult(
        seed=seed,
        size=size,
        pain=pain,
        falling_called_rising=share_of_falling_called_rising(scored[FALLING_KIND]),
        limit_rule=best_limit(pain).rule,
        lifts=lift_results,
        adherence=measure_adherence(size, seed),
    )


def as_json_object(result: BenchResult) -> dict[str, Any]:
    """The result with None where nothing was found to take a median of."""
    plain: dict[str, Any] = _without_nan(asdict(result))
    return plain


def as_table(result: BenchResult) -> str:
    tables = (_pain_table, _quiet_table, _lift_table, _adherence_table)
    return "\n\n".join(table(result) for table in tables)


def _pain_table(result: BenchResult) -> str:
    head = ["rule", "from", "false/site-year"]
    head += [f"{kind} {what}" for kind in FLARE_KINDS for what in ("42 d", "median")]
    rows = [
        [
            rules.TITLES[each.rule],
            f"{each.threshold:.2f}",
            f"{each.false_per_year:.2f}",
            *(cell for kind in FLARE_KINDS for cell in _found_cells(each.found[kind])),
            f"{each.falling_per_year:.2f}",
        ]
        for each in result.pain
    ]
    ours = next(each for each in result.pain if each.rule == rules.OURS)
    limit = next(each for each in result.pain if each.rule == result.limit_rule)
    limit_share = limit.found["flare"].share
    of_limit = f"{ours.found['flare'].share / limit_share:.1%}" if limit_share else "none"
    rising = _found_cells(result.falling_called_rising)
    return "\n".join(
        [
            f"Pain: {result.size} clients of each kind, seed {result.seed}; "
            "other rules where they are wrong no more often than ours",
            _aligned([[*head, "falling/site-year"], *rows]),
            f"Flares flagged by ours, of those of '{rules.TITLES[limit.rule]}': {of_limit}",
            f"Pain climbing while volume falls: {rising[0]} get pain_rising within 42 d, median {rising[1]}",
        ]
    )


def _quiet_table(result: BenchResult) -> str:
    rows = [
        [rules.TITLES[each.rule], *(f"{each.quiet_per_year[kind]:.2f}" for kind in QUIET_KINDS)]
        for each in result.pain
    ]
    return "False alerts per site and year, by kind\n" + _aligned([["rule", *QUIET_KINDS], *rows])


def _lift_table(result: BenchResult) -> str:
    rows = [
        [
            lifts.TITLES[each.rule],
            each.status,
            f"{each.false_per_year:.2f}",
            _found_cells(each.found_56_days)[0],
            *_found_cells(each.found_84_days),
        ]
        for each in result.lifts
    ]
    head = ["rule", "status", "false/lift-year", "56 d", "84 d", "median"]
    return "Stalls: lifts that stop gaining\n" + _aligned([head, *rows])


def _adherence_table(result: BenchResult) -> str:
    head = ["client", "10 d", "median", "2, 3, 4 sessions a week", "as off_plan", "or silent"]
    head += ["false/client-year", "off_plan/client-year"]
    rows = [[adherence.TITLES[each.kind], *_adherence_cells(each)] for each in result.adherence]
    return "Off plan or unlogged: clients who halve what they do, and others\n" + _aligned([head, *rows])


def _adherence_cells(each: AdherenceResult) -> list[str]:
    share, median = _found_cells(each.found) if each.found else ("", "")
    by_week = ", ".join(_found_cells(found)[0] for found in each.found_by_sessions_a_week.values())
    others = [
        _found_cells(found)[0] if found else "" for found in (each.found_off_plan, each.found_or_silent)
    ]
    rates = ["" if rate is None else f"{rate:.2f}" for rate in (each.false_per_year, each.off_plan_per_year)]
    return [share, median, by_week, *others, *rates]


def _found_cells(found: Found) -> tuple[str, str]:
    median = "-" if math.isnan(found.median_delay_days) else f"{found.median_delay_days:.0f} d"
    return "-" if math.isnan(found.share) else f"{found.share:.1%}", median


def _aligned(rows: list[list[str]]) -> str:
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(
            cell.rjust(width) if place else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    )


def _without_nan(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_nan(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
