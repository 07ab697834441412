"""Loads as they are told: exact kilograms from what was entered."""

from decimal import Decimal

from coaching.compute.units import load_kg_of
from coaching.models import LoggedSet


def exact_kg(load_kg: Decimal) -> str:
    """Exact kilograms as a decimal text without an exponent."""
    return format(load_kg.normalize(), "f")


def exact_load_kg(row: LoggedSet) -> str:
    """Kilograms of a set's load as an exact decimal text."""
    return kg_of_load(row.load_thousandths, row.load_unit)


def kg_of_load(load_thousandths: int, load_unit: str) -> str:
    return exact_kg(load_kg_of(load_thousandths, load_unit))


def as_entered(load_thousandths: int) -> str:
    """The number as it was typed, without trailing zeros."""
    return f"{load_thousandths / 1000:g}"
