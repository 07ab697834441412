"""Figures of the bench: who is measured when, and what is held against what."""

from dataclasses import replace

import pytest

from coaching.speed.measuring import (
    Contender,
    Goal,
    Spread,
    TableSize,
    as_lines,
    as_plain,
    measure,
)

TOOK = {"ours": [4.0, 6.0, 20.0], "limit": [2.0, 2.0, 4.0]}
AT_MOST = Goal("ours against the limit", "ours", "limit", "took_s", 3)


def measured(*goals, rounds=3, said=None):
    left = {name: list(values) for name, values in TOOK.items()}
    calls = [] if said is None else said

    def run(name):
        calls.append(name)
        return {"took_s": left[name].pop(0)}

    contenders = [Contender(name, lambda name=name: run(name)) for name in TOOK]
    return measure(
        suite="night",
        database="sqlite",
        sizes={"clients": 1000},
        contenders=contenders,
        goals=goals,
        rounds=rounds,
        tell=lambda words: None,
    )


def test_every_round_begins_with_another_one():
    said = []
    measured(said=said)
    assert said == ["ours", "limit", "limit", "ours", "ours", "limit"]


def test_a_ratio_is_the_median_of_those_of_the_rounds():
    (ratio,) = measured(AT_MOST).ratios
    assert ratio.spread == Spread(lowest=2.0, median=3.0, highest=5.0)


@pytest.mark.parametrize(
    ("limit", "is_at_most", "is_met"),
    [(3, True, True), (2.9, True, False), (3, False, True), (3.1, False, False), (None, True, None)],
)
def test_a_goal_is_met_by_the_median(limit, is_at_most, is_met):
    goal = Goal("ours against the limit", "ours", "limit", "took_s", limit, is_at_most)
    assert measured(goal).ratios[0].is_met is is_met


def test_lines_tell_figures_and_verdicts():
    assert list(as_lines(measured(AT_MOST))) == [
        "night on sqlite: 1,000 clients; median of 3 rounds (lowest to highest)",
        "  ours, took_s: 6 (4 to 20)",
        "  limit, took_s: 2 (2 to 4)",
        "  ours against the limit, ratio: 3 (2 to 5); goal at most 3: met",
    ]


def test_the_object_holds_the_same():
    told = as_plain(measured(AT_MOST))
    assert told["figures"][0] == {"of": "ours", "figure": "took_s", "lowest": 4, "median": 6, "highest": 20}
    assert told["ratios"][0] | {"lowest": 2, "median": 3, "highest": 5, "is_met": True} == told["ratios"][0]
    assert (told["sizes"], told["rounds"], told["tables"]) == ({"clients": 1000}, 3, [])


def test_tables_are_told_with_their_indexes():
    table = TableSize("coaching_session", 1200, 3.5, 1.25, 0.5)
    assert list(as_lines(replace(measured(), tables=(table,))))[-1] == (
        "  coaching_session: 1,200 rows, 3.5 MB, indexes 1.25 MB, vacuum 0.5 s"
    )
