from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.swaps import Forbidden, StressChange, WordChange, find_swaps
from tests.compute.planned import exercise

SQUAT = exercise(
    "squat",
    indirect=["glutes", "adductors"],
    stress={"knee": 1.0, "lumbar_spine": 0.5},
    movement_pattern="squat",
    equipment="barbell",
    is_compound=True,
)
BOX_SQUAT = replace(SQUAT, code="box_squat", stress={"knee": 0.5, "lumbar_spine": 0.5})
EXTENSION = exercise(
    "extension", stress={"knee": 0.5}, movement_pattern="knee_extension", equipment="machine"
)
HINGE = exercise("hinge", direct=["hamstrings"], indirect=["quadriceps"], stress={"knee": 0.25})

profiles = st.builds(
    exercise,
    st.sampled_from(["a", "b", "c", "d", "e", "f"]),
    direct=st.sets(st.sampled_from(["quadriceps", "glutes"]), max_size=2),
    indirect=st.sets(st.sampled_from(["glutes", "adductors", "calves"]), max_size=2),
    stress=st.dictionaries(
        st.sampled_from(["knee", "hip", "lumbar_spine"]), st.sampled_from([0, 0.25, 0.5, 1])
    ),
    movement_pattern=st.sampled_from(["squat", "lunge"]),
    equipment=st.sampled_from(["barbell", "machine"]),
)
catalogues = st.lists(profiles, max_size=6, unique_by=lambda profile: profile.code)


def codes(*others, joint="knee", what=SQUAT, **asked):
    return [swap.code for swap in find_swaps(what, others, joint, **asked)]


def only(other, **asked):
    (found,) = find_swaps(SQUAT, [other], "knee", **asked)
    return found


def test_an_exercise_for_the_same_muscle_that_spares_the_joint_is_found():
    found = only(BOX_SQUAT)
    assert (found.code, found.stress_before, found.stress_after, found.share_kept) == ("box_squat", 1, 0.5, 1)


def test_one_that_stresses_the_joint_as_much_is_not():
    assert codes(replace(BOX_SQUAT, stress={"knee": 1.0})) == []


def test_one_for_other_direct_muscles_is_not():
    assert codes(HINGE) == []


def test_the_exercise_itself_is_not():
    assert codes(replace(SQUAT, stress={})) == []


def test_less_of_the_direct_muscles_must_be_asked_for():
    both = exercise("both", direct=["quadriceps", "glutes"])
    one = exercise("one", direct=["glutes"], stress={})
    assert codes(one, what=both) == []
    assert codes(one, what=both, least_direct_kept=0.5) == ["one"]


def test_what_is_lost_is_told():
    found = only(EXTENSION)
    assert (found.direct_lost, found.indirect_lost) == ((), ("adductors", "glutes"))
    assert found.share_kept == 0.5


def test_a_muscle_that_is_only_indirect_now_is_lost_as_direct_alone():
    both = exercise("both", direct=["quadriceps", "glutes"])
    other = exercise("other", direct=["quadriceps"], indirect=["glutes"], stress={})
    (found,) = find_swaps(both, [other], "knee", least_direct_kept=0.5)
    assert (found.direct_lost, found.indirect_lost, found.indirect_gained) == (("glutes",), (), ())
    assert found.share_kept == 0.75


def test_what_is_gained_is_told():
    other = exercise("other", direct=["quadriceps", "glutes"], indirect=["calves"], stress={})
    found = only(other)
    assert (found.direct_gained, found.indirect_gained) == (("glutes",), ("calves",))


def test_a_muscle_that_becomes_direct_is_not_lost():
    other = exercise("other", direct=["quadriceps", "glutes"], indirect=["adductors"], stress={})
    assert only(other).indirect_lost == ()


def test_changed_stress_of_every_joint_is_told():
    found = only(replace(BOX_SQUAT, stress={"knee": 0.25, "hip": 0.5, "lumbar_spine": 0.5}))
    assert found.stress_changes == (StressChange("hip", 0, 0.5), StressChange("knee", 1, 0.25))


def test_changed_words_are_told():
    found = only(replace(EXTENSION, measure="duration", is_one_sided=True))
    assert found.word_changes == (
        WordChange("movement_pattern", "squat", "knee_extension"),
        WordChange("equipment", "barbell", "machine"),
        WordChange("measure", "reps", "duration"),
        WordChange("joints_moved", "compound", "single_joint"),
        WordChange("sides_at_once", "both", "one"),
    )


def test_nothing_is_told_of_words_that_stay():
    assert only(BOX_SQUAT).word_changes == ()


@pytest.mark.parametrize(
    "forbidden", [Forbidden(codes=frozenset({"box_squat"})), Forbidden(patterns=frozenset({"squat"}))]
)
def test_what_a_restriction_forbids_is_left_out(forbidden):
    assert codes(BOX_SQUAT, EXTENSION, forbidden=forbidden) == ["extension"]


def test_least_stress_on_the_joint_comes_first():
    assert codes(BOX_SQUAT, replace(EXTENSION, stress={"knee": 0.25})) == ["extension", "box_squat"]


def test_then_most_of_the_muscles():
    assert codes(EXTENSION, BOX_SQUAT) == ["box_squat", "extension"]


def test_then_least_stress_on_the_other_guarded_joints():
    a, b = (
        replace(BOX_SQUAT, code=code, stress={"knee": 0.5, "hip": hip})
        for code, hip in (("a", 0.5), ("b", 0))
    )
    assert codes(a, b) == ["a", "b"]
    assert codes(a, b, guarded_joints=["hip", "knee"]) == ["b", "a"]


def test_the_named_joint_is_no_other_guarded_joint():
    assert only(BOX_SQUAT, guarded_joints=["knee"]).other_stress == 0


def test_then_the_same_pattern_then_the_same_equipment_then_the_code():
    strange = replace(BOX_SQUAT, code="a", movement_pattern="lunge")
    machine = replace(BOX_SQUAT, code="b", equipment="machine")
    twins = [replace(BOX_SQUAT, code=code) for code in ("d", "c")]
    assert codes(strange, machine, *twins) == ["c", "d", "b", "a"]


def test_a_joint_that_sees_nothing_needs_no_swap():
    assert codes(BOX_SQUAT, joint="wrist") == []


def test_an_exercise_without_direct_muscles_has_no_swap():
    assert codes(BOX_SQUAT, what=replace(SQUAT, direct=frozenset())) == []


def test_nothing_to_choose_from_gives_nothing():
    assert codes() == []


@given(catalogues, st.randoms(use_true_random=False))
def test_the_order_of_the_catalogue_does_not_matter(others, shuffler):
    shuffled = list(others)
    shuffler.shuffle(shuffled)
    ask = {"guarded_joints": ["hip"], "least_direct_kept": 0.5}
    assert find_swaps(SQUAT, shuffled, "knee", **ask) == find_swaps(SQUAT, others, "knee", **ask)


@given(catalogues)
def test_exercises_for_other_muscles_change_nothing(others):
    unrelated = [exercise(code, direct=["chest"], stress={}) for code in ("x", "y")]
    assert find_swaps(SQUAT, [*unrelated, *others], "knee") == find_swaps(SQUAT, others, "knee")


@given(catalogues)
def test_one_more_fitting_exercise_keeps_the_others_in_order(others):
    before = codes(*others)
    after = codes(*others, replace(BOX_SQUAT, code="new"))
    assert [code for code in after if code != "new"] == before
    assert "new" in after


@given(catalogues)
def test_every_swap_keeps_the_direct_muscles_and_spares_the_joint(others):
    for swap in find_swaps(SQUAT, others, "knee"):
        assert swap.direct_lost == ()
        assert swap.stress_after < swap.stress_before
        assert 0 < swap.share_kept <= 1


@pytest.mark.parametrize("share", [0, 1.1, float("nan")])
def test_an_impossible_share_is_refused(share):
    with pytest.raises(ValueError, match=f"least_direct_kept must be above 0 and at most 1, got {share}"):
        codes(least_direct_kept=share)
