import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.exposure import (
    density,
    emphasise_heavy_reps,
    hard_sets_per_muscle,
    is_load_to_confirm,
    is_site_loaded,
    joint_load_kg,
    joint_reps,
    parse_tempo,
    sum_site_days,
    time_under_tension,
    volume_load_kg,
)

SITE_SIDES = ["left", "right", "midline"]

rep_counts = st.integers(0, 40)
loads = st.floats(0, 300)
stresses = st.sampled_from([0, 0.25, 0.5, 1])


def totals_of(*, side="both", reps=(10,), load_kg=(60.0,), stress=1.0):
    """Totals of sets of one exercise on one day, over the left, the right and the midline."""
    n_sets = len(reps)
    return sum_site_days(
        [0] * n_sets, [side] * n_sets, reps, load_kg, np.full((n_sets, 3), stress), SITE_SIDES, n_days=1
    )


def test_joint_reps_are_reps_times_stress():
    assert joint_reps([10, 10, 10, 10], [0, 0.25, 0.5, 1]).tolist() == [0, 2.5, 5, 10]


def test_joint_load_is_reps_times_stress_times_load():
    assert joint_load_kg(10, 60, 0.5) == 300


def test_an_unknown_load_adds_no_joint_load():
    assert joint_load_kg(10, math.nan, 0.5) == 0


@pytest.mark.parametrize(
    ("set_side", "expected"),
    [("left", [True, False, True]), ("right", [False, True, True]), ("both", [True, True, True])],
)
def test_a_set_loads_its_sides_and_the_midline(set_side, expected):
    assert is_site_loaded(set_side, SITE_SIDES).tolist() == expected


def test_a_set_of_both_sides_counts_once_for_each():
    assert totals_of(side="both").joint_reps[:, 0].tolist() == [10, 10, 10]


def test_a_one_sided_set_counts_for_its_side_and_the_midline():
    assert totals_of(side="left").joint_load_kg[:, 0].tolist() == [600, 0, 600]


def test_a_load_to_be_confirmed_counts_its_reps_only():
    totals = totals_of(load_kg=(math.nan,))
    assert totals.joint_reps[0, 0] == 10
    assert totals.joint_load_kg[0, 0] == 0


def test_sets_are_added_up_as_pandas_does():
    generator = np.random.default_rng(13)
    n_sets, n_days, n_sites = 400, 30, 6
    day, reps = generator.integers(0, n_days, n_sets), generator.integers(1, 20, n_sets)
    load, side = generator.uniform(0, 200, n_sets), generator.choice(["left", "right", "both"], n_sets)
    stress, sites = generator.choice([0, 0.25, 0.5, 1], (n_sets, n_sites)), np.array(SITE_SIDES * 2)
    totals = sum_site_days(day, side, reps, load, stress, sites, n_days=n_days)
    for site, site_side in enumerate(sites):
        counts = (side == "both") | (side == site_side) | (site_side == "midline")
        rows = pd.DataFrame({"day": day, "reps": reps * stress[:, site] * counts})
        rows["load_kg"] = rows["reps"] * load
        oracle = rows.groupby("day").sum().reindex(range(n_days), fill_value=0)
        assert totals.joint_reps[site] == pytest.approx(oracle["reps"].to_numpy(), abs=1e-9)
        assert totals.joint_load_kg[site] == pytest.approx(oracle["load_kg"].to_numpy(), abs=1e-9)


def test_no_sets_leave_no_exposure():
    totals = sum_site_days([], [], [], [], np.empty((0, 3)), SITE_SIDES, n_days=4)
    assert totals.joint_reps.tolist() == np.zeros((3, 4)).tolist()


@given(rep_counts, rep_counts, loads, stresses)
def test_splitting_a_set_keeps_its_exposure(first, second, load_kg, stress):
    whole = totals_of(reps=(first + second,), load_kg=(load_kg,), stress=stress)
    parts = totals_of(reps=(first, second), load_kg=(load_kg, load_kg), stress=stress)
    assert parts.joint_reps == pytest.approx(whole.joint_reps)
    assert parts.joint_load_kg == pytest.approx(whole.joint_load_kg)


@given(rep_counts, loads, stresses)
def test_the_unit_of_the_load_scales_the_joint_load_only(reps, load_kg, stress):
    in_kg = totals_of(reps=(reps,), load_kg=(load_kg,), stress=stress)
    in_lb = totals_of(reps=(reps,), load_kg=(load_kg / 0.45359237,), stress=stress)
    assert (in_lb.joint_reps == in_kg.joint_reps).all()
    assert in_lb.joint_load_kg * 0.45359237 == pytest.approx(in_kg.joint_load_kg)


@given(rep_counts, loads, stresses)
def test_one_more_rep_never_lowers_the_exposure(reps, load_kg, stress):
    assert joint_reps(reps + 1, stress) >= joint_reps(reps, stress)
    assert joint_load_kg(reps + 1, load_kg, stress) >= joint_load_kg(reps, load_kg, stress)


@pytest.mark.parametrize(
    ("compute", "arguments", "message"),
    [
        (joint_reps, (-1, 0.5), "reps must be finite and 0 or more, got -1.0"),
        (joint_reps, (math.nan, 0.5), "reps must be finite and 0 or more, got nan"),
        (joint_reps, (5, 1.5), "stress must be 0 to 1, got 1.5"),
        (joint_load_kg, (5, -20, 0.5), "load_kg must be finite and 0 or more, got -20.0"),
        (is_site_loaded, ("all", "left"), "set_side must be one of left, right, both, got all"),
        (is_site_loaded, ("both", "both"), "site_side must be one of left, right, midline, got both"),
    ],
)
def test_exposure_names_what_is_out_of_range(compute, arguments, message):
    with pytest.raises(ValueError, match=message):
        compute(*arguments)


def test_a_day_outside_the_totals_is_refused():
    with pytest.raises(ValueError, match="set_day must lie in 0 to 1, got 0 to 2"):
        sum_site_days([0, 2], ["left"] * 2, [5, 5], [0, 0], [[1.0], [1.0]], ["left"], n_days=2)


def test_stress_of_another_shape_is_refused():
    with pytest.raises(ValueError, match=r"stress must have the shape \(1, 1\), got \(1, 2\)"):
        sum_site_days([0], ["left"], [5], [0], [[1.0, 1.0]], ["left"], n_days=1)


def test_the_emphasis_is_off_unless_asked_for():
    assert emphasise_heavy_reps([8, 8], [0.5, math.nan]).tolist() == [8, 8]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((5, -0.1), "share_of_1rm must be 0 or more, got -0.1"),
        ((5, 0.8, -1), "exponent must be 0 or more, got -1"),
        ((-5, 0.8), "reps must be finite and 0 or more, got -5.0"),
    ],
)
def test_the_emphasis_names_what_is_out_of_range(arguments, message):
    with pytest.raises(ValueError, match=message):
        emphasise_heavy_reps(*arguments)


def test_a_hold_or_an_unknown_load_adds_no_volume():
    assert volume_load_kg([10, math.nan, 5], [60, 20, math.nan]) == 600


def test_no_sets_have_no_volume():
    assert volume_load_kg([], []) == 0


def test_volume_load_names_what_is_out_of_range():
    with pytest.raises(ValueError, match="load_kg must be finite and 0 or more, got inf"):
        volume_load_kg([10], [math.inf])


def test_a_set_that_is_not_hard_counts_for_no_muscle():
    assert hard_sets_per_muscle([False, True], [[1.0], [0.5]]).tolist() == [0.5]


@pytest.mark.parametrize(
    ("role", "message"),
    [
        ([[0.7]], "role must be 0, 0.5 or 1, got 0.7"),
        ([[1.0], [1.0]], "role must have one row for each of 1 sets"),
    ],
)
def test_hard_sets_name_what_they_cannot_take(role, message):
    with pytest.raises(ValueError, match=message):
        hard_sets_per_muscle([True], role)


@pytest.mark.parametrize("text", ["3-1-1-0", "3110", " 3110 "])
def test_a_tempo_is_read_with_and_without_dashes(text):
    tempo = parse_tempo(text)
    assert (tempo.lowering_s, tempo.pause_low_s, tempo.lifting_s, tempo.pause_high_s) == (3, 1, 1, 0)


def test_long_parts_need_dashes():
    assert parse_tempo("10-0-10-0").rep_s == 20


def test_a_small_x_is_read_like_a_large_one():
    assert time_under_tension(8, "40x1") == time_under_tension(8, "4-0-X-1")


def test_no_rep_takes_no_time():
    assert time_under_tension(0, "3110") == 0


def test_time_under_tension_takes_a_tempo_read_before():
    assert time_under_tension(10, parse_tempo("3110")) == 50


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "tempo must have four parts, like 3-1-1-0 or 3110, got ''"),
        ("311", "tempo must have four parts, like 3-1-1-0 or 3110, got '311'"),
        ("3-1-1", "tempo must have four parts"),
        ("31105", "tempo must have four parts"),
        ("3-1--0", "tempo must be made of whole seconds up to 60 or X, got '' in '3-1--0'"),
        ("3-1-1-Y", "tempo must be made of whole seconds up to 60 or X, got 'Y' in '3-1-1-Y'"),
        ("3-1-1.5-0", "tempo must be made of whole seconds up to 60 or X, got '1.5' in"),
        ("61-0-1-0", "tempo must be made of whole seconds up to 60 or X, got '61' in"),
        ("3²10", "tempo must be made of whole seconds up to 60 or X, got '²' in"),
    ],
)
def test_what_is_no_tempo_is_refused(text, message):
    with pytest.raises(ValueError, match=message):
        parse_tempo(text)


def test_time_under_tension_names_what_is_out_of_range():
    with pytest.raises(ValueError, match=r"reps must be finite and 0 or more, got -1\.0"):
        time_under_tension(-1, "3110")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((5400, 0), "duration_min must be a finite number above 0, got 0"),
        ((-1, 45), "volume_load_kg must be finite and 0 or more, got -1.0"),
    ],
)
def test_density_names_what_is_out_of_range(arguments, message):
    with pytest.raises(ValueError, match=message):
        density(*arguments)


@pytest.mark.parametrize(
    ("load_kg", "best_kg", "expected"),
    [(150, 100, False), (150.5, 100, True), (900, None, False), (900, 0, False), (900, math.nan, False)],
)
def test_a_load_far_above_the_best_is_to_be_confirmed(load_kg, best_kg, expected):
    assert is_load_to_confirm(load_kg, best_kg) is expected
