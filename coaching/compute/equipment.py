"""What loads the equipment can make, in the unit the client enters, and which of two loads is the heavier."""

from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from coaching.compute.units import KG, UNITS, load_from_kg, load_kg_of

TOTAL, PER_HAND = "total", "per_hand"
ADDED_TO_BODY_MASS, ASSISTED, NO_LOAD = "added_to_body_mass", "assisted", "none"
LOAD_BASES = (TOTAL, PER_HAND, ADDED_TO_BODY_MASS, ASSISTED, NO_LOAD)


@dataclass(frozen=True, slots=True)
class Equipment:
    """The loads that can be made: the lowest one and whole steps above it.

    Attributes:
        step_thousandths: smallest step, thousandths of the unit, above 0.
        unit: kg or lb, the unit the client enters.
        lowest_thousandths: empty bar or first plate, 0 or more; not used for assistance.
        load_basis: total, per_hand, added_to_body_mass, assisted or none. With assistance (stored positive)
            the smaller number is the heavier load. With the last three the whole load is not known, so
            neither a percentage nor a formula on it means anything.
    """

    step_thousandths: int
    unit: str = KG
    lowest_thousandths: int = 0
    load_basis: str = TOTAL

    def __post_init__(self) -> None:
        if self.step_thousandths <= 0:
            raise ValueError(f"step_thousandths must be above 0, got {self.step_thousandths}")
        if self.unit not in UNITS:
            raise ValueError(f"unit must be one of {', '.join(UNITS)}, got {self.unit}")
        if self.lowest_thousandths < 0:
            raise ValueError(f"lowest_thousandths must be 0 or more, got {self.lowest_thousandths}")
        if self.load_basis not in LOAD_BASES:
            raise ValueError(f"load_basis must be one of {', '.join(LOAD_BASES)}, got {self.load_basis}")

    @property
    def is_assistance(self) -> bool:
        return self.load_basis == ASSISTED

    @property
    def is_whole_load_known(self) -> bool:
        return self.load_basis in (TOTAL, PER_HAND)

    @property
    def lowest_kg(self) -> Decimal:
        return load_kg_of(self.lowest_thousandths, self.unit)

    def demand(self, load_kg: Decimal) -> Decimal:
        """A number that grows with how heavy the load is; loads are compared by it."""
        return -load_kg if self.is_assistance else load_kg

    def lighter_of(self, *loads_kg: Decimal) -> Decimal:
        return min(loads_kg, key=self.demand)

    def is_heavier(self, load_kg: Decimal, than_kg: Decimal) -> bool:
        return self.demand(load_kg) > self.demand(than_kg)

    def at_most(self, load_kg: Decimal) -> Decimal | None:
        """The heaviest load that can be made and is not heavier; None below the lowest."""
        return self._load_kg(self._steps_up_to(load_kg))

    def step_lighter(self, load_kg: Decimal) -> Decimal | None:
        """The heaviest load that can be made and is lighter by a step or more; None if there is none."""
        return self._load_kg(self._steps_up_to(load_kg, behind=1))

    def step_heavier(self, load_kg: Decimal) -> Decimal | None:
        """The lightest load that can be made and is heavier; None if there is none."""
        return self._load_kg(self._steps_up_to(load_kg) + 1)

    def thousandths_of(self, load_kg: Decimal) -> int:
        """A load that can be made, as it is entered: thousandths of the unit."""
        return int((load_from_kg(load_kg, self.unit) * 1000).to_integral_value())

    def _steps_up_to(self, load_kg: Decimal, behind: int = 0) -> int:
        entered = load_from_kg(self.demand(load_kg), self.unit) * 1000
        above = (entered - self._origin) / self.step_thousandths - behind
        return int(above.to_integral_value(ROUND_FLOOR))

    def _load_kg(self, steps: int) -> Decimal | None:
        entered = self._origin + steps * self.step_thousandths
        if self.is_assistance:
            return load_kg_of(-entered, self.unit) if entered <= 0 else None
        return load_kg_of(entered, self.unit) if steps >= 0 else None

    @property
    def _origin(self) -> int:
        return 0 if self.is_assistance else self.lowest_thousandths
