"""The warm-up ramp."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.equipment import Equipment
from coaching.compute.warm_up import RampStep, warm_up_ramp
from tests.compute.prescribed import KG, LB


def told(load: float, equipment: Equipment = KG, **given: object) -> list[tuple[float, int]]:
    ramp = warm_up_ramp(Decimal(str(load)), equipment, **given)
    return [(each.load_thousandths / 1000, each.reps) for each in ramp]


def test_loads_are_rounded_down():
    assert told(62.5) == [(30, 5), (42.5, 3), (57.5, 1)]


def test_pounds_are_told_in_pounds():
    assert told(61.2349699, LB) == [(65, 5), (90, 3), (125, 1)]


def test_of_two_steps_with_one_load_the_one_with_fewer_reps_stays():
    assert told(10, Equipment(5000)) == [(5, 1)]


def test_a_step_that_is_not_lighter_than_the_work_load_is_dropped():
    assert told(60, steps=[RampStep(0.5, 5), RampStep(0.99, 1)], equipment=Equipment(10_000)) == [
        (30, 5),
        (50, 1),
    ]
    assert told(20, Equipment(2500, lowest_thousandths=20_000)) == []


def test_a_step_lighter_than_the_one_before_is_dropped():
    assert told(60, steps=[RampStep(0.7, 3), RampStep(0.5, 5)]) == [(40, 3)]


def test_without_a_work_load_there_is_no_ramp():
    assert warm_up_ramp(None, KG) == ()
    assert warm_up_ramp(Decimal(0), KG) == ()


@pytest.mark.parametrize("basis", ["added_to_body_mass", "assisted", "none"])
def test_a_share_of_a_part_of_the_load_is_no_ramp(basis: str):
    assert told(20, Equipment(2500, load_basis=basis)) == []


def test_a_step_near_failure_loses_repetitions():
    steps = [RampStep(0.9, 6)]
    assert told(100, steps=steps, work_reps=5) == [(90, 5)]
    assert told(100, steps=steps, work_reps=5, work_rir=3) == [(90, 6)]
    assert told(100, steps=steps, work_reps=12) == [(90, 6)]


def test_one_repetition_is_kept_in_any_case():
    assert told(100, work_reps=1)[-1] == (95, 1)


@given(st.integers(1, 400), st.integers(1, 12), st.sampled_from([KG, LB, Equipment(1000)]))
def test_a_ramp_climbs_and_stays_below_the_work_load(load: int, reps: int, equipment: Equipment):
    loads = [each.load_kg for each in warm_up_ramp(Decimal(load), equipment, work_reps=reps)]
    assert loads == sorted(set(loads))
    assert all(0 < each < load and equipment.at_most(each) == each for each in loads)


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"work_load_kg": Decimal(-1)}, "work_load_kg must be 0 or more, got -1"),
        ({"work_reps": 0}, "work_reps must be 1 or more, got 0"),
        ({"work_reps": 5, "work_rir": -1}, "work_rir must be 0 or more, got -1"),
    ],
)
def test_what_cannot_be_is_refused(wrong: dict, message: str):
    with pytest.raises(ValueError, match=message):
        warm_up_ramp(**{"work_load_kg": Decimal(60), "equipment": KG, **wrong})


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ((1.0, 5), r"share must lie between 0 and 1, got 1\.0"),
        ((0.5, 0), "reps must be 1 or more, got 0"),
        ((0.5, 5, -1), "rest_s must be 0 or more, got -1"),
    ],
)
def test_a_step_that_cannot_be_is_refused(step: tuple, message: str):
    with pytest.raises(ValueError, match=message):
        RampStep(*step)
