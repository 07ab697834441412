import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.compute.units import KG, LB, load_from_kg, load_kg_of, parse_load, round_to_step, step_lb_of

thousandths = st.integers(0, 2_000_000)


def test_kilograms_stay_as_entered():
    assert load_kg_of(102_500, KG) == Decimal("102.5")


@given(thousandths)
def test_pounds_come_back_from_kilograms(entered):
    assert round(load_from_kg(load_kg_of(entered, LB), LB), 12) == Decimal(entered).scaleb(-3)


@pytest.mark.parametrize(
    ("entered", "expected"),
    [
        ("102.5", 102_500),
        (" 80 ", 80_000),
        ("0", 0),
        ("1.250000", 1_250),
        (102.5, 102_500),
        (0.1, 100),
        (60, 60_000),
        (Decimal("12.125"), 12_125),
        (-0.0, 0),
        (2000, 2_000_000),
    ],
)
def test_an_entered_load_is_read_as_thousandths(entered, expected):
    assert parse_load(entered) == expected


@pytest.mark.parametrize(
    ("entered", "message"),
    [
        ("heavy", "load must be a plain decimal number, got 'heavy'"),
        ("", "load must be a plain decimal number, got ''"),
        ("1e2", "load must be a plain decimal number, got '1e2'"),
        ("102,5", "load must be a plain decimal number, got '102,5'"),
        ("nan", "load must be a plain decimal number, got 'nan'"),
        ("١٠", "load must be a plain decimal number"),
        (True, "load must be a plain decimal number, got True"),
        (math.nan, "load must be a finite number, got nan"),
        (math.inf, "load must be a finite number, got inf"),
        (Decimal("NaN"), "load must be a finite number, got NaN"),
        ("-5", "load must be 0 or more, got -5"),
        (-0.5, "load must be 0 or more, got -0.5"),
        ("1.2345", "load must have at most three decimals, got 1.2345"),
        (0.1 + 0.2, "load must have at most three decimals, got 0.30000000000000004"),
        ("1.000" + 40 * "0" + "1", "load must have at most three decimals"),
        ("2000.001", "load must be at most 2000, got 2000.001"),
        (1e300, r"load must be at most 2000, got 1e\+300"),
    ],
)
def test_what_is_no_load_is_refused(entered, message):
    with pytest.raises(ValueError, match=message):
        parse_load(entered)


@given(thousandths)
def test_a_load_is_read_alike_as_text_number_and_decimal(entered):
    exact = Decimal(entered).scaleb(-3)
    assert parse_load(str(exact)) == parse_load(float(exact)) == parse_load(exact) == entered


@pytest.mark.parametrize(
    ("step_kg", "step_lb"),
    [
        ("0", "0"),
        ("0.25", "2.5"),
        ("1", "2.5"),
        ("1.25", "2.5"),
        ("1.26", "5"),
        ("2", "5"),
        ("2.5", "5"),
        ("4", "10"),
        ("5", "10"),
        ("10", "20"),
    ],
)
def test_the_step_in_pounds_is_one_that_such_equipment_has(step_kg, step_lb):
    assert step_lb_of(Decimal(step_kg)) == Decimal(step_lb)


@pytest.mark.parametrize("step_kg", ["-1", "NaN", "Infinity"])
def test_what_is_no_step_has_none_in_pounds(step_kg):
    with pytest.raises(ValueError, match=f"step_kg must be a finite number of 0 or more, got {step_kg}"):
        step_lb_of(Decimal(step_kg))


def test_an_unknown_unit_is_refused():
    with pytest.raises(ValueError, match="unit must be one of kg, lb, got stone"):
        load_kg_of(1_000, "stone")


def test_negative_thousandths_are_refused():
    with pytest.raises(ValueError, match="thousandths must be 0 or more, got -1"):
        load_kg_of(-1, KG)


@pytest.mark.parametrize(("mode", "expected"), [("nearest", 62.5), ("down", 60.0), ("up", 62.5)])
def test_a_load_is_rounded_to_the_step_of_the_equipment(mode, expected):
    assert round_to_step(61.5, 2.5, mode) == expected


def test_half_way_goes_to_the_lighter_load():
    assert round_to_step(Decimal("61.25"), Decimal("2.5")) == Decimal(60)


def test_a_float_is_taken_as_the_decimal_it_is_written_as():
    assert round_to_step(0.3, 0.1, "down") == 0.3


def test_the_type_given_is_the_type_returned():
    assert isinstance(round_to_step(61.5, 2.5), float)
    assert isinstance(round_to_step(Decimal(61), Decimal("2.5")), Decimal)


@given(thousandths, st.sampled_from(["0.5", "1", "1.25", "2.26796185", "2.5", "5"]))
def test_the_rounded_load_is_a_step_and_no_further_than_one_away(entered, step):
    load, step_kg = Decimal(entered).scaleb(-3), Decimal(step)
    down, nearest, up = (round_to_step(load, step_kg, mode) for mode in ("down", "nearest", "up"))
    assert down <= load <= up
    assert nearest in (down, up)
    assert abs(nearest - load) <= step_kg / 2
    assert nearest % step_kg == 0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((-1.0, 2.5), "load_kg must be a finite number of 0 or more, got -1.0"),
        ((math.nan, 2.5), "load_kg must be a finite number of 0 or more, got nan"),
        ((60.0, 0.0), "step_kg must be a finite number above 0, got 0.0"),
        ((60.0, math.inf), "step_kg must be a finite number above 0, got inf"),
        ((60.0, 2.5, "sideways"), "mode must be one of nearest, down, up, got sideways"),
    ],
)
def test_rounding_names_what_is_out_of_range(arguments, message):
    with pytest.raises(ValueError, match=message):
        round_to_step(*arguments)
