"""One published check: what one of our functions must give, and who says so."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

SEEN = "seen"
SECOND_HAND = "second-hand"
FROM_MEMORY = "from memory"
COMPUTED = "computed"
DESIGN = "design"
FORMULA_SEEN = "formula seen, value computed"
FORMULA_FROM_MEMORY = "formula from memory, value computed"

REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Check:
    """A quantity that a function of `coaching.compute` must give.

    Attributes:
        code: name of the check in the page and in the test run.
        quantity: what is computed, for a reader who does not read code.
        subject: the function or table it concerns, below `coaching.compute`.
        compute: gives our value: a number, a text, or a sequence of either.
        expected: the same, from the source.
        tolerance: absolute; 0 = exactly equal.
        source: where expected comes from.
        known: whether that was seen, is second-hand, from memory, computed or a design choice.
    """

    code: str
    quantity: str
    subject: str
    compute: Callable[[], Any]
    expected: Any
    tolerance: float
    source: str
    known: str


@dataclass(frozen=True, slots=True)
class NotOurs:
    """A published figure that no function of ours gives, and why not."""

    code: str
    quantity: str
    figure: str
    source: str
    reason: str


def answer_to(call: Callable[[], Any]) -> Any:
    """What the call gives, or the word for a ValueError."""
    try:
        return call()
    except ValueError:
        return REFUSED


def agrees(found: Any, expected: Any, tolerance: float) -> bool:
    """Whether two values agree, entry by entry; nan agrees with nan."""
    if isinstance(expected, tuple):
        ours = list(found)
        return len(ours) == len(expected) and all(
            agrees(one, other, tolerance) for one, other in zip(ours, expected, strict=True)
        )
    if isinstance(expected, str | bool):
        return bool(found == expected)
    if math.isnan(expected):
        return math.isnan(found)
    return bool(abs(found - expected) <= tolerance)
