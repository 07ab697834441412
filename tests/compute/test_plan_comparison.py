import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.plan_comparison import compare_plans
from coaching.compute.plan_dose import MuscleDose, SiteDose, WeekDose

muscle_doses = st.lists(
    st.builds(
        MuscleDose,
        st.sampled_from(["chest", "lats", "triceps"]),
        st.sampled_from([0.0, 3.0, 4.5, 8.0]),
        st.sampled_from([0.0, 3.0, 8.0]),
    ),
    max_size=3,
    unique_by=lambda dose: dose.muscle,
)
site_doses = st.lists(
    st.builds(
        SiteDose,
        st.sampled_from(["elbow", "shoulder"]),
        st.sampled_from(["left", "right"]),
        st.sampled_from([15.0, 60.0, 61.0, 200.0]),
        st.sampled_from([0.0, 1800.0]),
        st.sampled_from([0.0, 0.5, 1.0]),
    ),
    max_size=4,
    unique_by=lambda dose: dose.site,
)
week_doses = st.builds(
    lambda sites, muscles: WeekDose(tuple(sites), tuple(muscles), 12, 0), site_doses, muscle_doses
)


def week(knee=60.0, quadriceps=6.0, *, load_kg=0.0, unknown=0.0, side="left"):
    return WeekDose(
        (SiteDose("knee", side, knee, load_kg, unknown),),
        (MuscleDose("quadriceps", quadriceps, quadriceps),),
        6,
        0,
    )


NOTHING = WeekDose((), (), 0, 0)


def test_the_same_sets_with_other_joint_reps_are_told_with_their_numbers():
    found = compare_plans(week(60), week(180), name_a="Few sets", name_b="Long sets")
    assert (found.is_same_hard_sets, found.is_same_joint_reps) == (True, False)
    assert found.statement == (
        "Both plans give every muscle the same hard sets a week, within 0.5, but not the same joint reps: "
        "of the left knee Few sets asks 60 a week and Long sets 180 (3 times as many)."
    )


def test_guarded_sites_are_told_before_others_that_differ_more():
    def both(knee, hip):
        return WeekDose(
            tuple(SiteDose(j, "left", n, 0.0, 0.0) for j, n in (("hip", hip), ("knee", knee))), (), 0, 0
        )

    a, b = both(60, 60), both(90, 180)
    assert "left hip" in compare_plans(a, b).statement
    assert "left knee" in compare_plans(a, b, guarded_sites={"knee:left"}).statement
    assert "left hip" in compare_plans(a, both(60, 180), guarded_sites={"knee:left"}).statement


def test_equal_plans_are_told_as_the_same():
    found = compare_plans(week(), week())
    assert found.statement == (
        "Both plans give every muscle the same hard sets a week, within 0.5, and ask the same joint reps of "
        "every joint."
    )


def test_other_sets_with_the_same_joint_reps_are_told():
    assert compare_plans(week(), week(quadriceps=9)).statement == (
        "The hard sets differ, most for the quadriceps: plan A gives 6 a week and plan B 9. "
        "The joint reps are the same."
    )


def test_other_sets_with_other_joint_reps_are_told():
    assert compare_plans(week(80), week(60, quadriceps=9)).statement.endswith(
        "The joint reps differ too: of the left knee plan A asks 80 a week and plan B 60 (25% fewer)."
    )


def test_less_than_twice_as_many_is_told_in_percent():
    assert "asks 60 a week and plan B 80 (33.3% more)." in compare_plans(week(60), week(80)).statement


def test_a_joint_that_one_plan_leaves_alone_has_no_ratio():
    found = compare_plans(NOTHING, week(60, 0))
    assert math.isnan(found.sites[0].joint_reps_ratio)
    assert found.statement.endswith("of the left knee plan A asks 0 a week and plan B 60.")


def test_a_joint_that_the_other_plan_leaves_alone_has_a_ratio_of_zero():
    found = compare_plans(week(60, 0), NOTHING)
    assert found.sites[0].joint_reps_ratio == 0
    assert found.statement.endswith("plan A asks 60 a week and plan B 0.")


def test_the_spine_has_no_side_in_words():
    a, b = (
        WeekDose((SiteDose("lumbar_spine", "midline", reps, 0.0, 0.0),), (), 1, 0) for reps in (10.0, 30.0)
    )
    assert "of the lumbar spine plan A asks 10" in compare_plans(a, b).statement


def test_two_plans_without_work_have_nothing_to_compare():
    found = compare_plans(NOTHING, NOTHING)
    assert found.statement == "Neither plan has any work to compare."
    assert (found.muscles, found.sites) == ((), ())


def test_loads_are_compared_where_both_are_known():
    site = compare_plans(week(load_kg=1000), week(load_kg=1500)).sites[0]
    assert (site.joint_load_a_kg, site.joint_load_b_kg, site.joint_load_ratio) == (1000, 1500, 1.5)


def test_a_load_that_is_not_known_has_no_ratio():
    site = compare_plans(week(load_kg=1000), week(load_kg=1500, unknown=0.25)).sites[0]
    assert math.isnan(site.joint_load_b_kg)
    assert math.isnan(site.joint_load_ratio)


def test_more_sets_on_one_side_do_not_hide_fewer_on_the_other():
    a, b = (WeekDose((), (MuscleDose("lats", *sides),), 6, 0) for sides in ((6.0, 6.0), (9.0, 3.0)))
    found = compare_plans(a, b)
    assert (found.muscles[0].difference, found.muscles[0].sides_apart) == (0, 3)
    assert not found.is_same_hard_sets
    assert found.statement.startswith(
        "The hard sets differ, most for the lats: plan A gives 6 a week on the left and 6 on the right, "
        "plan B 9 and 3."
    )


@pytest.mark.parametrize(("sets", "is_same"), [(6.5, True), (6.6, False)])
def test_hard_sets_are_the_same_within_the_tolerance(sets, is_same):
    assert compare_plans(week(), week(quadriceps=sets)).is_same_hard_sets == is_same


@pytest.mark.parametrize(("reps", "is_same"), [(95, True), (94, False)])
def test_joint_reps_are_the_same_within_a_share_of_the_larger(reps, is_same):
    assert compare_plans(week(100), week(reps)).is_same_joint_reps == is_same
    assert compare_plans(week(reps), week(100)).is_same_joint_reps == is_same


@given(week_doses, week_doses)
def test_swapping_the_plans_flips_signs_and_ratios(a, b):
    one, other = compare_plans(a, b), compare_plans(b, a)
    assert [m.difference for m in other.muscles] == [-m.difference for m in one.muscles]
    assert (other.is_same_hard_sets, other.is_same_joint_reps) == (
        one.is_same_hard_sets,
        one.is_same_joint_reps,
    )
    for there, back in zip(one.sites, other.sites, strict=True):
        assert (back.joint_reps_a, back.joint_reps_b) == (there.joint_reps_b, there.joint_reps_a)
        if there.joint_reps_ratio > 0:
            assert back.joint_reps_ratio == pytest.approx(1 / there.joint_reps_ratio)


@given(week_doses)
def test_a_plan_is_the_same_as_itself(a):
    found = compare_plans(a, a, sets_tolerance=0, reps_tolerance=0)
    assert found.is_same_hard_sets
    assert found.is_same_joint_reps


@given(week_doses, week_doses)
def test_the_order_of_sites_and_muscles_does_not_matter(a, b):
    turned = replace(a, sites=a.sites[::-1], muscles=a.muscles[::-1])
    assert repr(compare_plans(turned, b)) == repr(compare_plans(a, b))


@pytest.mark.parametrize("name", ["sets_tolerance", "reps_tolerance"])
def test_a_tolerance_below_zero_is_refused(name):
    with pytest.raises(ValueError, match=f"{name} must be 0 or more, got -1"):
        compare_plans(week(), week(), **{name: -1})
