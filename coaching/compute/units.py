"""Loads in kilograms and pounds, exactly; and what the equipment can do."""

from decimal import ROUND_DOWN, ROUND_HALF_EVEN, Decimal
from typing import Literal

KG_PER_LB = Decimal("0.45359237")
MAX_THOUSANDTHS = 2_000_000

Unit = Literal["kg", "lb"]


def load_kg_of(load_thousandths: int, unit: str) -> Decimal:
    """Kilograms of a load as entered, exactly.

    Args:
        load_thousandths: whole thousandths of `unit`, 0 or more.
        unit: "kg" or "lb".

    Returns:
        Exact kilograms.

    Raises:
        ValueError: negative load or unknown unit.

    Source:
        1 lb = 0.45359237 kg exactly: international pound of 1959, NIST SP 811 (from memory; exact by definition).

    >>> load_kg_of(225_000, "lb")
    Decimal('102.05828325')
    """
    if load_thousandths < 0:
        raise ValueError(f"load_thousandths must be 0 or more, got {load_thousandths}")
    load = Decimal(load_thousandths) / 1000
    if unit == "kg":
        return load
    if unit == "lb":
        return load * KG_PER_LB
    raise ValueError(f"unit must be kg or lb, got {unit}")


def load_lb_of(load_kg: Decimal) -> Decimal:
    """Pounds of a load in kilograms, to 28 digits.

    >>> round(load_lb_of(Decimal(100)), 8)
    Decimal('220.46226218')
    """
    return load_kg / KG_PER_LB


def round_to_step(load_kg: Decimal, step_kg: Decimal, *, down: bool = False) -> Decimal:
    """The nearest load the equipment can do, or the nearest one not above.

    Args:
        load_kg: wanted load, 0 or more.
        step_kg: smallest step of the equipment; 0 = any load can be set.
        down: never above the wanted load.

    Returns:
        A multiple of `step_kg`.

    Raises:
        ValueError: negative load or step.

    >>> round_to_step(Decimal("61.2"), Decimal("2.5"))
    Decimal('60.0')
    """
    if load_kg < 0:
        raise ValueError(f"load_kg must be 0 or more, got {load_kg}")
    if step_kg < 0:
        raise ValueError(f"step_kg must be 0 or more, got {step_kg}")
    if step_kg == 0:
        return load_kg
    return (load_kg / step_kg).to_integral_value(ROUND_DOWN if down else ROUND_HALF_EVEN) * step_kg
