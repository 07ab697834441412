"""How far a load goes up or comes down."""

import math
from decimal import Decimal

import pytest

from coaching.compute.equipment import Equipment
from coaching.compute.load_step import (
    bound_load_step,
    choose_heavier_load,
    is_two_for_two,
    lower_load,
    predict_reps,
)
from tests.compute.prescribed import KG


def test_the_smallest_load_of_at_least_two_percent_more_is_chosen():
    fine = Equipment(500)
    assert choose_heavier_load(Decimal(60), fine) == Decimal("61.5")


def test_a_rise_of_exactly_ten_percent_is_taken():
    assert choose_heavier_load(Decimal(25), KG) == Decimal("27.5")


def test_a_step_above_ten_percent_is_not():
    assert choose_heavier_load(Decimal("22.5"), KG) is None
    assert choose_heavier_load(Decimal("9.05"), Equipment(1000)) is None


def test_from_no_load_there_is_no_percentage():
    assert choose_heavier_load(Decimal(0), KG) is None


def test_a_part_of_the_load_rises_by_one_step_whatever_its_share():
    assert choose_heavier_load(Decimal(5), Equipment(2500, load_basis="added_to_body_mass")) == Decimal("7.5")
    assert choose_heavier_load(Decimal(20), Equipment(5000, load_basis="assisted")) == 15


def test_without_assistance_left_nothing_rises():
    assert choose_heavier_load(Decimal(0), Equipment(5000, load_basis="assisted")) is None


@pytest.mark.parametrize("load", [Decimal(-1), Decimal("nan"), Decimal("inf")])
def test_bounds_of_a_load_that_is_none_are_refused(load: Decimal):
    with pytest.raises(ValueError, match="load_kg must be a finite number of 0 or more, got"):
        bound_load_step(load)


def test_no_repetitions_are_predicted_above_ten():
    assert math.isnan(predict_reps(Decimal(60), 9, 2, Decimal(50)))


def test_one_session_is_too_few_for_two_for_two():
    assert not is_two_for_two(10, [12])
    assert not is_two_for_two(10, [])


def test_only_the_two_newest_sessions_count_for_two_for_two():
    assert is_two_for_two(10, [8, 12, 12])
    assert not is_two_for_two(10, [12, 12, 11])


def test_a_fall_is_a_step_at_least():
    assert lower_load(Decimal(60), 7, 0, 8, KG) == Decimal("57.5")


def test_reserve_counts_for_the_fall():
    assert lower_load(Decimal(60), 4, 2, 8, KG) == Decimal("55.0")


def test_no_repetition_counts_as_one():
    assert lower_load(Decimal(60), 0, 0, 8, KG) == lower_load(Decimal(60), 1, 0, 8, KG) == Decimal("45.0")


def test_above_ten_repetitions_a_tenth_comes_off():
    assert lower_load(Decimal(60), 12, 0, 17, KG) == Decimal("52.5")
    assert lower_load(Decimal(60), 8, 0, 17, KG) == Decimal("52.5")


def test_a_part_of_the_load_comes_down_by_a_step():
    assert lower_load(Decimal(20), 2, 0, 8, Equipment(5000, load_basis="assisted")) == 25


def test_nothing_is_lighter_than_the_lowest():
    assert lower_load(Decimal(20), 2, 0, 8, Equipment(2500, lowest_thousandths=20_000)) is None
    assert lower_load(Decimal(0), 2, 0, 8, KG) is None


def test_a_fall_ends_at_the_lowest_load():
    assert lower_load(Decimal(25), 1, 0, 8, Equipment(2500, lowest_thousandths=20_000)) == 20
