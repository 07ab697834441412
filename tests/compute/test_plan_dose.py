import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.exercise_profile import muscle_role
from coaching.compute.plan_dose import MuscleDose, WeekDose, judge_sets, week_dose
from coaching.compute.plan_week import check_planned
from coaching.compute.warm_up import RampStep
from tests.compute.planned import HOLD, SPLIT_SQUAT, SQUAT, day, exercise, held, planned

RAMP = (RampStep(0.5, 5), RampStep(0.7, 3), RampStep(0.95, 1))

rows = st.builds(
    planned,
    st.sampled_from([SQUAT, SPLIT_SQUAT, exercise("press", direct=["chest"], stress={"shoulder": 0.25})]),
    sets=st.integers(1, 6),
    low=st.integers(1, 5),
    high=st.integers(5, 20),
    side=st.sampled_from(["left", "right", "both"]),
    to_failure=st.booleans(),
    rir=st.sampled_from([0.0, 2.0, 6.0, math.nan]),
    load_kg=st.sampled_from([0.0, 40.0, 62.5, math.nan]),
    share_of_1rm=st.sampled_from([0.2, 0.4, 0.8, math.nan]),
)
weeks = st.lists(rows, min_size=1, max_size=8)


def sites(*rows):
    return {site.site: site for site in week_dose([day(*rows)]).sites}


def joint_reps(*rows):
    return {name: site.joint_reps for name, site in sites(*rows).items()}


def muscles(*rows, **settings):
    return {muscle.muscle: muscle for muscle in week_dose([day(*rows)], **settings).muscles}


def numbers(dose: WeekDose):
    """Everything of a dose, in one list that approx can compare."""
    return [
        *(
            number
            for site in dose.sites
            for number in (site.joint_reps, site.known_joint_load_kg, site.unknown_load_share)
        ),
        *(number for muscle in dose.muscles for number in (muscle.left, muscle.right)),
        dose.work_sets,
        dose.sets_of_unknown_effort,
    ]


def test_joint_reps_are_counted_at_the_high_end():
    assert joint_reps(planned(sets=3, low=6, high=10)) == {
        "knee:left": 30, "knee:right": 30, "lumbar_spine:midline": 15,
    }  # fmt: skip


def test_a_warm_up_counts_its_joint_reps_once():
    assert joint_reps(planned(sets=3, high=10, warm_up=RAMP))["knee:left"] == 30 + 9


def test_a_warm_up_counts_its_own_load():
    found = sites(planned(sets=1, high=10, load_kg=100, warm_up=RAMP))["knee:left"]
    assert found.joint_load_kg == pytest.approx(10 * 100 + 5 * 50 + 3 * 70 + 1 * 95)


def test_a_warm_up_is_no_hard_set():
    assert muscles(planned(sets=2, to_failure=True, warm_up=RAMP))["quadriceps"].hard_sets == 2


def test_a_hold_counts_one_repetition():
    assert joint_reps(held(HOLD, sets=4)) == {"knee:left": 2, "knee:right": 2}


def test_one_side_leaves_the_other_alone():
    assert joint_reps(planned(SPLIT_SQUAT, 2, high=10, side="left")) == {
        "knee:left": 10, "lumbar_spine:midline": 5,
    }  # fmt: skip


def test_one_sided_work_of_both_sides_is_a_set_of_each_and_the_spine_sees_both():
    assert joint_reps(planned(SPLIT_SQUAT, 2, high=10)) == {
        "knee:left": 10, "knee:right": 10, "lumbar_spine:midline": 10,
    }  # fmt: skip


def test_one_sided_work_of_both_sides_equals_a_prescription_for_each():
    together = planned(SPLIT_SQUAT, to_failure=True, warm_up=RAMP, load_kg=20)
    apart = [replace(together, side=side) for side in ("left", "right")]
    assert week_dose([day(together)]) == week_dose([day(*apart)])


def test_hard_sets_of_one_leg_stay_on_that_leg():
    found = muscles(planned(SPLIT_SQUAT, 3, side="right", to_failure=True))["quadriceps"]
    assert (found.left, found.right, found.hard_sets) == (0, 3, 1.5)


def test_an_unknown_load_is_not_part_of_the_known_one():
    found = sites(planned(sets=1, high=10, load_kg=100), planned(sets=3, high=10))["knee:left"]
    assert (found.known_joint_load_kg, found.unknown_load_share) == (1000, 0.75)
    assert math.isnan(found.joint_load_kg)


def test_an_exercise_without_a_load_has_a_known_load_of_zero():
    found = sites(planned(load_kg=0))["knee:left"]
    assert (found.joint_load_kg, found.unknown_load_share) == (0, 0)


def test_a_joint_without_stress_is_left_out():
    assert joint_reps(planned(exercise(stress={"knee": 0.0, "hip": 0.25}))) == {
        "hip:left": 7.5, "hip:right": 7.5,
    }  # fmt: skip


def test_a_muscle_without_a_hard_set_stands_with_zero():
    assert muscles(planned(rir=8))["quadriceps"] == MuscleDose("quadriceps", 0, 0)


def test_a_light_load_short_of_failure_is_not_hard():
    assert muscles(planned(rir=3, share_of_1rm=0.4))["quadriceps"].hard_sets == 0


def test_the_largest_reserve_is_a_setting():
    assert muscles(planned(rir=3), max_rir=2)["quadriceps"].hard_sets == 0


def test_sets_that_say_no_effort_are_counted_apart():
    dose = week_dose([day(planned(sets=2), planned(SPLIT_SQUAT, 3), planned(sets=4, to_failure=True))])
    assert (dose.work_sets, dose.sets_of_unknown_effort) == (2 + 6 + 4, 2 + 6)


def test_a_week_without_training_asks_nothing():
    assert week_dose([]) == WeekDose((), (), 0, 0)


def test_an_exercise_that_loads_no_joint_has_no_sites():
    assert week_dose([day(planned(exercise(stress={})))]).sites == ()


def test_a_muscle_named_as_both_is_direct():
    assert muscle_role(exercise(direct=["chest"], indirect=["chest"]), "chest") == 1


@given(weeks, st.randoms(use_true_random=False))
def test_the_order_of_prescriptions_does_not_matter(week, shuffler):
    shuffled = list(week)
    shuffler.shuffle(shuffled)
    one, other = week_dose([day(*week)]), week_dose([day(*shuffled)])
    assert numbers(other) == pytest.approx(numbers(one), nan_ok=True)


@given(weeks)
def test_the_day_of_a_prescription_does_not_matter(week):
    one, other = week_dose([day(*week)]), week_dose([day(row) for row in week])
    assert numbers(other) == pytest.approx(numbers(one), nan_ok=True)


@given(rows, st.integers(1, 5))
def test_a_prescription_in_two_parts_is_the_same_dose(row, more):
    whole = week_dose([day(replace(row, sets=row.sets + more))])
    parts = week_dose([day(row, replace(row, sets=more))])
    assert numbers(parts) == pytest.approx(numbers(whole), nan_ok=True)


@given(weeks)
def test_a_mirrored_plan_swaps_the_sides(week):
    mirror = {"left": "right", "right": "left", "both": "both"}
    one = week_dose([day(*week)])
    other = week_dose([day(*(replace(row, side=mirror[row.side]) for row in week))])
    assert {(m.muscle, m.right, m.left) for m in other.muscles} == {
        (m.muscle, m.left, m.right) for m in one.muscles
    }
    mirrored = {f"{site.joint}:{mirror.get(site.side, site.side)}": site.joint_reps for site in other.sites}
    assert mirrored == pytest.approx({site.site: site.joint_reps for site in one.sites})


@given(weeks, rows)
def test_one_more_prescription_never_lowers_anything(week, more):
    before = {site.site: site.joint_reps for site in week_dose([day(*week)]).sites}
    after = {site.site: site.joint_reps for site in week_dose([day(*week, more)]).sites}
    assert all(after[site] >= reps - 1e-9 for site, reps in before.items())


@pytest.mark.parametrize(
    ("left", "right", "verdict"),
    [
        (4, 4, "within"),
        (10, 10, "within"),
        (3.5, 6, "below"),
        (6, 10.5, "above"),
        (0, 12, "below_and_above"),
    ],
)
def test_either_side_is_held_against_floor_and_ceiling(left, right, verdict):
    found = judge_sets([MuscleDose("chest", left, right)], floor=4, ceiling=10)[0]
    assert (found.verdict, found.fewest, found.most) == (verdict, left, right)


def test_without_floor_and_ceiling_everything_is_within():
    assert judge_sets([MuscleDose("chest", 0, 99)])[0].verdict == "within"


@pytest.mark.parametrize(
    ("bounds", "message"),
    [
        ({"floor": -1}, "floor must be 0 or more, got -1"),
        ({"ceiling": math.nan}, "ceiling must be 0 or more, got nan"),
        ({"floor": 5, "ceiling": 4}, "floor must not lie above ceiling, got 5 and 4"),
    ],
)
def test_impossible_bounds_are_refused(bounds, message):
    with pytest.raises(ValueError, match=message):
        judge_sets([], **bounds)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (planned(sets=0), "sets must be 1 or more, got 0"),
        (planned(side="middle"), "side must be one of left, right, both, got middle"),
        (planned(high=None), "reps_low must come with reps_high, or else duration_s, got 6, None and None"),
        (planned(low=None, high=None), "or else duration_s, got None, None and None"),
        (planned(duration_s=30), "or else duration_s, got 6, 10 and 30"),
        (planned(low=11), "reps_low must lie in 1 to reps_high, got 11 to 10"),
        (planned(low=0), "reps_low must lie in 1 to reps_high, got 0 to 10"),
        (held(duration_s=0), "duration_s must be 1 or more, got 0"),
        (planned(rir=-1), "rir must be finite and 0 or more, or not known, got -1"),
        (planned(load_kg=math.inf), "load_kg must be finite and 0 or more, or not known, got inf"),
        (planned(share_of_1rm=-0.5), "share_of_1rm must be finite"),
        (planned(rest_s=-1), "rest_s must be finite"),
    ],
)
def test_a_prescription_that_cannot_be_counted_is_refused(row, message):
    with pytest.raises(ValueError, match=message):
        check_planned(row)
    with pytest.raises(ValueError, match=message):
        week_dose([day(row)])
