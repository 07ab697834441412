"""What the equipment can make, to the lighter side and by steps."""

from decimal import Decimal

import pytest

from coaching.compute.equipment import Equipment
from coaching.compute.units import load_kg_of

BAR = Equipment(2500, lowest_thousandths=20_000)
ASSISTANCE = Equipment(5000, load_basis="assisted")


def test_a_load_between_two_steps_is_rounded_to_the_lighter_one():
    assert BAR.at_most(Decimal("63.9")) == Decimal("62.5")


def test_a_load_that_can_be_made_stays():
    assert BAR.at_most(Decimal("62.5")) == Decimal("62.5")


def test_steps_are_counted_from_the_lowest_load():
    stack = Equipment(7000, lowest_thousandths=5000)
    assert [stack.at_most(Decimal(each)) for each in (5, 11, 12, 20)] == [5, 5, 12, 19]


def test_below_the_lowest_load_there_is_none():
    assert BAR.at_most(Decimal("19.9")) is None
    assert BAR.step_lighter(Decimal(20)) is None


def test_a_step_lighter_is_a_whole_step_lighter_at_least():
    assert BAR.step_lighter(Decimal(60)) == Decimal("57.5")
    assert BAR.step_lighter(Decimal(61)) == Decimal("57.5")


def test_a_step_heavier_is_the_next_load_that_can_be_made():
    assert BAR.step_heavier(Decimal(60)) == Decimal("62.5")
    assert BAR.step_heavier(Decimal(61)) == Decimal("62.5")


def test_pounds_come_back_as_they_were_entered():
    plates = Equipment(5000, "lb")
    for thousandths in range(0, 600_000, 5000):
        load_kg = load_kg_of(thousandths, "lb")
        assert plates.at_most(load_kg) == load_kg
        assert plates.thousandths_of(load_kg) == thousandths


def test_with_assistance_the_larger_number_is_lighter():
    assert ASSISTANCE.is_heavier(Decimal(10), Decimal(20))
    assert ASSISTANCE.lighter_of(Decimal(10), Decimal(20)) == 20
    assert ASSISTANCE.at_most(Decimal(12)) == 15
    assert ASSISTANCE.step_lighter(Decimal(15)) == 20
    assert ASSISTANCE.step_heavier(Decimal(15)) == 10


def test_without_any_assistance_nothing_is_heavier():
    assert ASSISTANCE.step_heavier(Decimal(0)) is None


def test_the_whole_load_is_not_known_of_body_mass_and_assistance():
    known = [Equipment(1, load_basis=basis).is_whole_load_known for basis in ("total", "per_hand")]
    part = [Equipment(1, load_basis=each).is_whole_load_known for each in ("added_to_body_mass", "assisted")]
    assert known == [True, True] and part == [False, False]


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"step_thousandths": 0}, "step_thousandths must be above 0, got 0"),
        ({"unit": "st"}, "unit must be one of kg, lb, got st"),
        ({"lowest_thousandths": -1}, "lowest_thousandths must be 0 or more, got -1"),
        ({"load_basis": "guess"}, "load_basis must be one of .*, got guess"),
    ],
)
def test_equipment_that_cannot_be_is_refused(wrong: dict, message: str):
    with pytest.raises(ValueError, match=message):
        Equipment(**{"step_thousandths": 2500, **wrong})
