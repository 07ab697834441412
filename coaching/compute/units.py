"""Loads as entered (thousandths and a unit), exact kilograms, and what the equipment can do."""

import re
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_DOWN, Decimal
from typing import TypeVar

KG = "kg"
LB = "lb"
UNITS = (KG, LB)

# International pound of 1959, exact by definition (NIST SP 811, from memory).
KG_PER_LB = Decimal("0.45359237")

MAX_LOAD = Decimal(2_000)  # of either unit; more is a slip of the finger (design choice)

# A small step in kilograms stands beside small plates and add-ons of 2.5 lb; beyond it, equipment marked in
# pounds goes in fives: coach judgement.
SMALL_STEP_KG = Decimal("1.25")
SMALL_STEP_LB = Decimal("2.5")
STEP_LB = Decimal(5)

_PLAIN_DECIMAL = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_ROUNDING = {"nearest": ROUND_HALF_DOWN, "down": ROUND_FLOOR, "up": ROUND_CEILING}

Load = TypeVar("Load", Decimal, float)


def parse_load(entered: str | int | float | Decimal) -> int:
    """Read a load as entered and give it in thousandths of its unit.

    Args:
        entered: text such as "102.5" (a dot, no exponent, no group marks) or a number; a float stands for the
            shortest decimal that denotes it.

    Returns:
        Thousandths, 0 or more.

    Raises:
        ValueError: not a plain decimal number, nan, infinite, negative, more than three decimals (zeros at
            the end do not count), or above 2000.

    Source:
        Thousandths, and the highest load: design choice.

    >>> parse_load("102.5")
    102500
    """
    value = _decimal_of(entered)
    if not value.is_finite():
        raise ValueError(f"load must be a finite number, got {entered}")
    if value < 0:
        raise ValueError(f"load must be 0 or more, got {entered}")
    if value > MAX_LOAD:
        raise ValueError(f"load must be at most {MAX_LOAD}, got {entered}")
    thousandths = value.quantize(Decimal("0.001"))
    if thousandths != value:
        raise ValueError(f"load must have at most three decimals, got {entered}")
    return int(thousandths.scaleb(3))


def load_kg_of(thousandths: int, unit: str) -> Decimal:
    """Give the exact kilograms of a load as entered.

    Args:
        thousandths: the entered number in thousandths, 0 or more.
        unit: kg or lb.

    Returns:
        Exact kilograms, at most eleven decimals.

    Raises:
        ValueError: unknown unit, or negative thousandths.

    Source:
        1 lb = 0.45359237 kg exactly: international pound of 1959 (NIST SP 811, from memory).

    >>> load_kg_of(225_000, "lb")
    Decimal('102.05828325000')
    """
    if thousandths < 0:
        raise ValueError(f"thousandths must be 0 or more, got {thousandths}")
    entered = Decimal(thousandths).scaleb(-3)
    return entered * _kg_per(unit)


def load_from_kg(load_kg: Decimal, unit: str) -> Decimal:
    """Tell kilograms in a unit.

    Args:
        load_kg: kilograms.
        unit: kg or lb.

    Returns:
        The load in that unit to 28 significant digits; to be rounded for display only.

    Raises:
        ValueError: unknown unit.

    Source:
        As load_kg_of.

    >>> round(load_from_kg(Decimal(100), "lb"), 8)
    Decimal('220.46226218')
    """
    return load_kg / _kg_per(unit)


def round_to_step(load_kg: Load, step_kg: Load, mode: str = "nearest") -> Load:
    """Round a load to a whole number of the equipment's steps.

    Args:
        load_kg: 0 or more, Decimal or float.
        step_kg: smallest step of the equipment, above 0, of the same type.
        mode: nearest (the lighter one at half way: design choice), down or up.

    Returns:
        A multiple of the step, of the type given. Decimals are exact; floats are reckoned as the decimals
        they are written as, so 0.3 is three steps of 0.1.

    Raises:
        ValueError: load negative or not finite, step not above 0, unknown mode.

    Source:
        Lighter one at half way: design choice.

    >>> round_to_step(63.75, 2.5), round_to_step(Decimal("61.2"), Decimal("2.5"), "up")
    (62.5, Decimal('62.5'))
    """
    if mode not in _ROUNDING:
        raise ValueError(f"mode must be one of {', '.join(_ROUNDING)}, got {mode}")
    load, step = _decimal_of(load_kg), _decimal_of(step_kg)
    if not load.is_finite() or load < 0:
        raise ValueError(f"load_kg must be a finite number of 0 or more, got {load_kg}")
    if not step.is_finite() or step <= 0:
        raise ValueError(f"step_kg must be a finite number above 0, got {step_kg}")
    rounded = (load / step).to_integral_value(_ROUNDING[mode]) * step
    return rounded if isinstance(load_kg, Decimal) else float(rounded)


def step_lb_of(step_kg: Decimal) -> Decimal:
    """Give the step of equipment marked in pounds that goes with a step in kilograms.

    Args:
        step_kg: smallest step of the equipment in kilograms, 0 or more.

    Returns:
        Pounds: the nearest multiple of 2.5 lb for steps up to 1.25 kg, of 5 lb above, at least one of them
        (the lighter one at half way); 0 for 0, where nothing is loaded.

    Raises:
        ValueError: step negative or not finite.

    Notes:
        Not a conversion: a stack or a rack in pounds has steps of its own. Whoever knows better enters it.

    Source:
        Usual plates and dumbbells in pounds: from memory. Which goes with which: coach judgement.

    >>> step_lb_of(Decimal("2.5")), step_lb_of(Decimal("1"))
    (Decimal('5'), Decimal('2.5'))
    """
    if not step_kg.is_finite() or step_kg < 0:
        raise ValueError(f"step_kg must be a finite number of 0 or more, got {step_kg}")
    if step_kg == 0:
        return Decimal(0)
    step_lb = SMALL_STEP_LB if step_kg <= SMALL_STEP_KG else STEP_LB
    return max(step_lb, round_to_step(load_from_kg(step_kg, LB), step_lb))


def _decimal_of(entered: str | int | float | Decimal) -> Decimal:
    if isinstance(entered, bool):
        raise ValueError(f"load must be a plain decimal number, got {entered}")
    if isinstance(entered, str):
        if not _PLAIN_DECIMAL.fullmatch(entered.strip()):
            raise ValueError(f"load must be a plain decimal number, got {entered!r}")
        return Decimal(entered.strip())
    return Decimal(repr(float(entered))) if isinstance(entered, float) else Decimal(entered)


def _kg_per(unit: str) -> Decimal:
    if unit not in UNITS:
        raise ValueError(f"unit must be one of {', '.join(UNITS)}, got {unit}")
    return Decimal(1) if unit == KG else KG_PER_LB
