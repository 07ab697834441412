"""What sets ask of joints and muscles: repetitions, load, time; and loads that look like typing errors."""

import math
import re
from dataclasses import dataclass

TEMPO = re.compile(
    r"(\d{1,2}|[xX])-(\d{1,2}|[xX])-(\d{1,2}|[xX])-(\d{1,2}|[xX])|([\dxX])([\dxX])([\dxX])([\dxX])", re.ASCII
)
EXPLOSIVE_S = 1.0
CONFIRM_ABOVE = 1.5


@dataclass(frozen=True, slots=True)
class Tempo:
    """Seconds of lowering, pause at the bottom, lifting, pause at the top."""

    eccentric_s: float
    pause_bottom_s: float
    concentric_s: float
    pause_top_s: float

    @property
    def rep_s(self) -> float:
        return self.eccentric_s + self.pause_bottom_s + self.concentric_s + self.pause_top_s


def parse_tempo(text: str) -> Tempo:
    """Tempo from `3-1-1-0` or `3110`; X, as fast as possible, counts one second.

    Raises:
        ValueError: not a tempo.

    Source:
        Order of the four figures: common usage, from memory. One second for X is a design choice.

    >>> parse_tempo("3-1-X-0").rep_s
    5.0
    """
    match = TEMPO.fullmatch(text)
    if match is None:
        raise ValueError(f"tempo must look like 3-1-1-0 or 3110, got {text!r}")
    figures = [group for group in match.groups() if group is not None]
    return Tempo(*(EXPLOSIVE_S if figure in "xX" else float(figure) for figure in figures))


def time_under_tension(reps: float, tempo: str) -> float:
    """Seconds under tension of a set.

    Args:
        reps: repetitions, 0 or more.
        tempo: see parse_tempo.

    Raises:
        ValueError: negative reps, or no tempo.

    >>> time_under_tension(10, "3-1-1-0")
    50.0
    """
    if not (reps >= 0 and math.isfinite(reps)):
        raise ValueError(f"reps must be 0 or more and finite, got {reps}")
    return reps * parse_tempo(tempo).rep_s


def is_load_to_confirm(load_kg: float, best_84_days_kg: float) -> bool:
    """Whether a load lies so far above the lift's best of 84 days that someone should confirm it.

    Args:
        load_kg, best_84_days_kg: kilograms; a best of 0 or nan = nothing to compare with, never held back.

    Source:
        Factor 1.5: design choice.

    >>> is_load_to_confirm(200, 22)
    True
    """
    return best_84_days_kg > 0 and load_kg > CONFIRM_ABOVE * best_84_days_kg
