"""p values of what is screened, and the share of false ones among what a coach reads."""

import numpy as np
import pytest

from coaching.compute.chance import FALSE_DISCOVERY_RATE, lift_p, pain_rise_p, screen
from coaching.compute.pain_trend import assess_sites
from coaching.compute.progress import assess_lifts

BH_1995 = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
    0.7590, 1.0,
]  # fmt: skip


def steady_pain(n, seed=11):
    """Pain around 3 with noise of a point that keeps 0.7 of itself from day to day, told every other day."""
    noise = np.random.default_rng(seed).normal(size=(n, 84))
    for day in range(1, 84):
        noise[:, day] = 0.7 * noise[:, day - 1] + np.sqrt(1 - 0.7**2) * noise[:, day]
    pain = np.clip(np.round(3 + noise), 0, 10)
    pain[:, 1::2] = np.nan
    return pain, np.where(np.arange(84) % 2 == 0, 30.0, 0.0) * np.ones((n, 1))


def lifts(values, noise_seed=3, status="novice"):
    days = np.arange(0.0, 84, 3.5)
    noise = np.random.default_rng(noise_seed).normal(0, 0.03, size=(len(values), days.size))
    e1rm_kg = 100 * np.exp(np.asarray(values)[:, None] * days / 7 + noise)
    return assess_lifts(
        np.tile(days, (len(values), 1)),
        e1rm_kg,
        np.ones(e1rm_kg.shape, dtype=bool),
        np.full(len(values), status),
        as_of_day=84.0,
        increment_kg=np.full(len(values), 2.5),
    )


@pytest.mark.parametrize("level", [0.05, 0.01, 0.005])
def test_steady_pain_shows_a_small_p_no_more_often_than_it_says(level):
    pain, joint_reps = steady_pain(20_000)
    found = np.array([pain_rise_p(float(value)) for value in assess_sites(pain, joint_reps).statistic])
    assert 0.3 * level < (found <= level).mean() <= level


def test_clearer_rise_has_a_smaller_p():
    p = [pain_rise_p(statistic) for statistic in (0.5, 2.6, 3.1, 7.7)]
    assert p == sorted(p, reverse=True) and p[-1] < 1e-12


def test_no_rise_is_all_chance():
    assert pain_rise_p(float("nan")) == pain_rise_p(-3.0) == 1.0


def test_stalled_lift_has_a_p_below_half_of_what_its_interval_leaves_out():
    found = lifts([0.0] * 50)
    p = [lift_p(found, row) for row in np.flatnonzero(found.state == "stalled")]
    assert len(p) > 20 and max(p) < 0.01


def test_regressing_lift_has_the_larger_p_of_its_two_tests():
    found = lifts([-0.02] * 50)
    rows = np.flatnonzero(found.state == "regressing")
    assert len(rows) > 20
    for row in rows:
        # The fall of two averages is tested at 2.5 % on one side, the slope at 1 %.
        assert 0 <= lift_p(found, row) < 0.025


def test_lift_on_its_way_has_no_p():
    found = lifts([0.012])
    assert str(found.state[0]) == "progressing" and np.isnan(lift_p(found, 0))


def test_screening_passes_as_many_as_the_paper_rejects():
    assert screen(BH_1995, tests_run=15, false_discovery_rate=0.05).passes.sum() == 4
    assert screen(BH_1995, tests_run=15).passes.sum() == 9


def test_tests_that_found_nothing_make_it_harder_to_pass():
    assert screen([0.004, 0.02], tests_run=2).passes.tolist() == [True, True]
    assert screen([0.004, 0.02], tests_run=20).passes.tolist() == [True, False]
    assert screen([0.004, 0.02], tests_run=100).passes.tolist() == [False, False]


def test_fewer_tests_than_findings_are_as_many_as_findings():
    assert screen([0.01, 0.02, 0.9], tests_run=0).tests_run == 3


def test_nothing_found_is_nothing_to_screen():
    assert screen([], tests_run=7).passes.size == 0


def test_what_has_no_p_passes_and_is_not_counted():
    screened = screen([np.nan, 0.9], tests_run=1)
    assert screened.passes.tolist() == [True, False] and screened.tests_run == 1


def test_share_of_false_ones_among_those_that_pass_stays_at_the_rate():
    generator = np.random.default_rng(5)
    shares = []
    for _ in range(2000):
        p = generator.random(60)
        p[:10] **= 12  # ten true ones
        passes = screen(p, tests_run=60).passes
        shares.append(passes[10:].sum() / max(1, passes.sum()))
    assert 0.05 < np.mean(shares) <= FALSE_DISCOVERY_RATE


@pytest.mark.parametrize(
    ("p_values", "tests_run", "rate", "message"),
    [
        ([[0.1]], 1, 0.1, "p_values must have one dimension, got 2"),
        ([1.5], 1, 0.1, "p_values must lie in 0 to 1 or be nan, got 1.5"),
        ([0.1], -1, 0.1, "tests_run must be 0 or more, got -1"),
        ([0.1], 1, 0.0, "false_discovery_rate must lie between 0 and 1, got 0.0"),
        ([0.1], 1, 1.0, "false_discovery_rate must lie between 0 and 1, got 1.0"),
    ],
)
def test_screening_refuses_what_makes_no_sense(p_values, tests_run, rate, message):
    with pytest.raises(ValueError, match=message):
        screen(p_values, tests_run, rate)
