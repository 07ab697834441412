"""Which prescription of a plan day a logged set answers."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Answered(Generic[T]):
    """The prescriptions of one plan day: a set answers the one it names, or the only one of its lift."""

    by_id: Mapping[int, T]
    by_lift: Mapping[tuple[int, str], list[T]]

    @classmethod
    def of(cls, prescribed: Iterable[tuple[int, int, str, T]]) -> "Answered[T]":
        """From id, exercise id, side and whatever stands for the prescription."""
        by_id: dict[int, T] = {}
        by_lift: defaultdict[tuple[int, str], list[T]] = defaultdict(list)
        for own_id, exercise_id, side, each in prescribed:
            by_id[own_id] = each
            by_lift[exercise_id, side].append(each)
        return cls(by_id, dict(by_lift))

    def by(self, prescription_id: int | None, exercise_id: int, side: str) -> T | None:
        if prescription_id is not None:
            return self.by_id.get(prescription_id)
        alike = self.by_lift.get((exercise_id, side), [])
        return alike[0] if len(alike) == 1 else None
