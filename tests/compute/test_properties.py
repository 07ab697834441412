"""What no number of the computing core may depend on: order, unit, a split set, the zone a day is told in."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.effort import rir_bias
from coaching.compute.exposure import (
    emphasise_heavy_reps,
    hard_sets_per_muscle,
    sum_site_days,
    time_under_tension,
    volume_load_kg,
)
from coaching.compute.local_days import local_date_of, local_day_bounds
from coaching.compute.pain import compare_weeks, is_improved, is_over_limit
from coaching.compute.progress import assess_lifts, minimal_detectable_change
from coaching.compute.strength import (
    FORMULAS,
    estimated_1rm,
    estimated_1rm_band,
    load_for_reps,
    reps_for_load,
)
from coaching.compute.trends import false_discovery_control, hinge_fit, mann_kendall, theil_sen
from coaching.compute.units import LB, load_from_kg, load_kg_of, round_to_step
from coaching.compute.volume_change import compare_volume
from coaching.compute.workload import change_against_trained_weeks, ewma, monotony, strain

KG_PER_LB = 0.45359237
SITES = ["left", "right", "midline"]
ZONES = [
    "Europe/Berlin",
    "America/New_York",
    "Australia/Lord_Howe",
    "Asia/Kolkata",
    "Africa/Cairo",
    "Pacific/Apia",
]

factors = st.floats(0.1, 20)
load_lists = st.lists(st.integers(0, 900), min_size=7, max_size=7)
pains = st.integers(0, 10)
sets = st.lists(
    st.tuples(
        st.integers(0, 6), st.sampled_from(["left", "right", "both"]), st.integers(0, 30), st.integers(0, 300)
    ),
    min_size=1,
    max_size=12,
)
instants = st.datetimes(datetime(2012, 1, 1), datetime(2035, 1, 1)).map(  # noqa: DTZ001 - hypothesis asks for naive
    lambda moment: moment.replace(tzinfo=UTC)
)
zones = st.sampled_from(ZONES)
formulas = st.sampled_from(FORMULAS)
points_in_time = st.lists(st.tuples(st.integers(0, 90), pains), min_size=2, max_size=15)


def totals(rows):
    day, side, reps, load_kg = zip(*rows, strict=True)
    return sum_site_days(day, side, reps, load_kg, np.full((len(rows), 3), 0.5), SITES, n_days=7)


@given(sets, st.randoms(use_true_random=False))
def test_the_order_of_sets_does_not_change_the_exposure(rows, shuffler):
    shuffled = list(rows)
    shuffler.shuffle(shuffled)
    assert totals(shuffled).joint_reps == pytest.approx(totals(rows).joint_reps)
    assert totals(shuffled).joint_load_kg == pytest.approx(totals(rows).joint_load_kg)


@given(sets)
def test_one_more_set_never_lowers_any_exposure(rows):
    before, after = totals(rows[:-1] or [(0, "both", 0, 0)]), totals(rows)
    assert (after.joint_reps >= before.joint_reps).all()
    assert (after.joint_load_kg >= before.joint_load_kg).all()


@given(sets)
def test_a_mirrored_log_swaps_the_sides(rows):
    mirror = {"left": "right", "right": "left", "both": "both"}
    mirrored = totals([(day, mirror[side], reps, load_kg) for day, side, reps, load_kg in rows])
    assert mirrored.joint_reps == pytest.approx(totals(rows).joint_reps[[1, 0, 2]])


@given(sets)
def test_both_sides_at_once_are_one_set_of_each(rows):
    apart = [(day, one, reps, load) for day, _, reps, load in rows for one in ("left", "right")]
    together = [(day, "both", reps, load) for day, _, reps, load in rows]
    assert totals(apart).joint_reps[:2] == pytest.approx(totals(together).joint_reps[:2])


@given(st.integers(0, 30), st.integers(0, 30), st.floats(0, 300), st.floats(0, 1.2))
def test_splitting_a_set_keeps_volume_emphasis_and_time(first, second, load_kg, share):
    whole = first + second
    assert volume_load_kg([first, second], [load_kg] * 2) == pytest.approx(volume_load_kg([whole], [load_kg]))
    parts = emphasise_heavy_reps([first, second], share, exponent=4).sum()
    assert parts == pytest.approx(float(emphasise_heavy_reps(whole, share, exponent=4)))
    times = [time_under_tension(reps, "3110") for reps in (first, second, whole)]
    assert times[0] + times[1] == times[2]


@given(st.lists(st.tuples(st.booleans(), st.sampled_from([0, 0.5, 1])), min_size=1, max_size=20))
def test_the_order_of_sets_does_not_change_the_hard_sets(rows):
    is_hard, role = zip(*rows, strict=True)
    column = np.array(role, dtype=float)[:, None]
    backwards = hard_sets_per_muscle(is_hard[::-1], column[::-1])
    assert backwards == pytest.approx(hard_sets_per_muscle(is_hard, column))


@given(st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=2, max_size=12))
def test_the_order_of_guesses_does_not_change_the_bias(pairs):
    guessed, actual = zip(*pairs, strict=True)
    one, other = rir_bias(guessed, actual), rir_bias(guessed[::-1], actual[::-1])
    assert [other.mean_bias, other.low, other.high] == pytest.approx([one.mean_bias, one.low, one.high])


@given(st.floats(1, 400), st.integers(1, 12), st.sampled_from([0, 1, 2.5]), formulas)
def test_the_band_holds_the_estimate_and_scales_with_the_load(load_kg, reps, rir, formula):
    band = estimated_1rm_band(load_kg, reps, rir, formula)
    assert band.low <= band.mid <= band.high
    double = estimated_1rm_band(2 * load_kg, reps, rir, formula)
    assert [double.low, double.high] == pytest.approx([2 * band.low, 2 * band.high])


@given(st.floats(20, 300), st.integers(1, 14), formulas)
def test_more_reps_ask_for_less_load_and_less_load_allows_more_reps(one_rm_kg, reps, formula):
    heavier, lighter = (load_for_reps(one_rm_kg, each, 0, formula) for each in (reps, reps + 1))
    assert lighter < heavier
    assert reps_for_load(one_rm_kg, lighter, formula) >= reps_for_load(one_rm_kg, heavier, formula)


@given(st.floats(20, 300), st.floats(0.3, 1), formulas)
def test_reps_for_a_load_do_not_depend_on_the_unit(one_rm_kg, share, formula):
    in_kg = reps_for_load(one_rm_kg, share * one_rm_kg, formula)
    in_lb = reps_for_load(one_rm_kg / KG_PER_LB, share * one_rm_kg / KG_PER_LB, formula)
    assert in_lb == pytest.approx(in_kg, rel=1e-6, nan_ok=True)


@given(st.integers(0, 2_000_000))
def test_pounds_entered_give_the_estimate_of_their_exact_kilograms(thousandths):
    load_kg = load_kg_of(thousandths + 1, LB)
    in_lb = estimated_1rm(float(load_from_kg(load_kg, LB)), 5)
    assert in_lb * KG_PER_LB == pytest.approx(estimated_1rm(float(load_kg), 5), rel=1e-12)


@given(st.floats(0, 500), st.sampled_from([0.5, 1.0, 2.5]))
def test_a_rounded_load_stays_when_rounded_again(load_kg, step_kg):
    once = round_to_step(load_kg, step_kg)
    assert round_to_step(once, step_kg) == once


@given(load_lists, st.randoms(use_true_random=False))
def test_the_order_of_days_does_not_change_monotony_and_strain(week, shuffler):
    shuffled = list(week)
    shuffler.shuffle(shuffled)
    assert monotony(shuffled) == pytest.approx(monotony(week), nan_ok=True)
    assert strain(shuffled) == pytest.approx(strain(week), nan_ok=True)


@given(load_lists, factors)
def test_averages_and_changes_are_in_the_unit_of_the_load(week, factor):
    scaled = [factor * load for load in week]
    assert ewma(scaled, 7) == pytest.approx(factor * ewma(week, 7))
    one = change_against_trained_weeks(week[0], week[1:])
    other = change_against_trained_weeks(scaled[0], scaled[1:])
    assert other.relative == pytest.approx(one.relative, nan_ok=True)


@given(load_lists, st.integers(0, 6), st.integers(1, 500))
def test_more_load_on_a_day_never_lowers_an_average(week, day, more):
    heavier = [load + more * (place == day) for place, load in enumerate(week)]
    assert (ewma(heavier, 7) >= ewma(week, 7)).all()


@given(
    st.lists(st.tuples(st.integers(0, 90), pains), min_size=2, max_size=15), st.randoms(use_true_random=False)
)
def test_the_order_of_points_does_not_change_the_line(points, shuffler):
    shuffled = list(points)
    shuffler.shuffle(shuffled)
    one, other = (theil_sen(*zip(*each, strict=True)) for each in (points, shuffled))
    assert [other.slope, other.low, other.high] == pytest.approx([one.slope, one.low, one.high], nan_ok=True)


@given(st.lists(pains, min_size=2, max_size=12), st.integers(0, 400), st.floats(0.5, 9))
def test_where_time_begins_and_its_unit_change_the_line_only_by_that_unit(values, start, unit):
    times = np.arange(float(len(values)))
    one, other = theil_sen(times, values), theil_sen(start + unit * times, values)
    assert other.slope == pytest.approx(one.slope / unit, abs=1e-9)


@given(st.lists(pains, min_size=2, max_size=12))
def test_a_reversed_scale_reverses_the_trend(values):
    one, other = mann_kendall(values), mann_kendall([10 - value for value in values])
    assert (other.s, other.p_exact) == (-one.s, pytest.approx(one.p_exact, nan_ok=True))


@given(st.lists(st.floats(0, 1), min_size=1, max_size=20), st.randoms(use_true_random=False))
def test_the_order_of_tests_does_not_change_their_adjusted_values(p_values, shuffler):
    order = list(range(len(p_values)))
    shuffler.shuffle(order)
    shuffled = false_discovery_control([p_values[place] for place in order])
    assert shuffled == pytest.approx(false_discovery_control(p_values)[order])


@given(st.lists(pains, min_size=6, max_size=20), st.integers(-9, 9))
def test_a_constant_added_to_all_values_moves_only_the_level_of_the_hinge(values, shift):
    onset = [len(values) // 2]
    one, other = hinge_fit(values, onset), hinge_fit(np.add(values, shift), onset)
    assert other.onset == one.onset
    assert [other.level, other.slope] == pytest.approx([one.level + shift, one.slope], nan_ok=True)


@given(pains, pains, pains)
def test_less_pain_now_never_ends_an_improvement(before, now, less):
    worse, better = max(now, less), min(now, less)
    improved = is_improved(np.array([before, before]), np.array([worse, better]))
    assert improved[1] >= improved[0]


@given(pains, st.integers(1, 9))
def test_more_pain_is_never_below_the_limit_again(pain, limit):
    over = is_over_limit(np.array([[pain, min(10, pain + 1)]]), np.array([float(limit)]))[0]
    assert over[1] >= over[0]


@given(st.lists(pains, min_size=14, max_size=14), st.randoms(use_true_random=False))
def test_the_order_of_days_within_a_week_does_not_change_its_median(fortnight, shuffler):
    before, now = fortnight[:7], fortnight[7:]
    shuffler.shuffle(now)
    shuffled = compare_weeks(np.array([before + now], dtype=float))
    assert shuffled.now == compare_weeks(np.array([fortnight], dtype=float)).now


@given(st.lists(st.integers(0, 200), min_size=56, max_size=70), factors)
def test_the_change_of_volume_does_not_depend_on_the_unit(daily, factor):
    one, other = (compare_volume(each * np.array([daily], dtype=float)) for each in (1.0, factor))
    assert other.change == pytest.approx(one.change, rel=1e-6, abs=1e-9, nan_ok=True)


@given(st.integers(1, 8), st.floats(0, 0.2))
def test_averaging_more_tests_never_raises_what_can_be_detected(n, noise):
    fewer, more = (minimal_detectable_change(np.array([noise]), each)[0] for each in (n, n + 1))
    assert more <= fewer


@given(factors, st.integers(0, 20))
def test_the_state_of_a_lift_does_not_depend_on_the_unit(factor, seed):
    days = np.arange(1.0, 85.0, 3.5)[None, :]
    loads = 100 * np.exp(np.random.default_rng(seed).normal(0, 0.03, days.shape) + 0.004 * days / 7)
    one, other = (
        assess_lifts(
            days, scale * loads, np.ones(days.shape, dtype=bool), np.array(["intermediate"]), as_of_day=84,
            increment_kg=np.array([2.5 * scale]),
        )
        for scale in (1.0, factor)
    )  # fmt: skip
    assert other.state == one.state
    assert other.slope_per_week == pytest.approx(one.slope_per_week, abs=1e-9)


@given(instants, zones)
def test_an_instant_lies_in_exactly_one_local_day(instant, zone):
    day = local_date_of(instant, zone)
    nearby = [day + timedelta(days=shift) for shift in (-1, 0, 1)]
    bounds = [local_day_bounds(zone, each) for each in nearby]
    holds = [each.starts_at <= instant < each.ends_at for each in bounds]
    assert holds == [False, True, False]


@given(instants, zones, zones)
def test_the_zone_in_which_an_instant_is_written_does_not_change_its_day(instant, written_in, zone):
    assert local_date_of(instant.astimezone(ZoneInfo(written_in)), zone) == local_date_of(instant, zone)


@given(instants, zones, st.integers(1, 40))
def test_a_later_instant_is_never_on_an_earlier_day_and_a_day_never_lost(instant, zone, hours):
    later = instant + timedelta(hours=hours)
    first, last = local_date_of(instant, zone), local_date_of(later, zone)
    assert first <= last
    spans = [local_day_bounds(zone, first + timedelta(days=step)) for step in range((last - first).days + 1)]
    covered = sum((span.ends_at - span.starts_at for span in spans), timedelta())
    assert covered == spans[-1].ends_at - spans[0].starts_at
