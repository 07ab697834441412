"""What happened on single days, above what is drawn: alerts that opened, changes that the coach noted."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from coaching.charts.ground import WIDTH, WIDTH_IN, Ink, week_of
from coaching.charts.words import NOTE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARK_ROW, MOST_MARK_ROWS, MARK_LETTER_IN = 0.055, 3, 0.058
MARK_ROW_POINTS = 10.3
LOWEST_WORDS_POINTS = 4
ALERT_LINE, NOTE_LINE = (0, (4, 2)), (0, (1, 2))


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened on one day: a line through the panels, its words above them.

    An alert's line is dashed and bears a triangle, that of a note alone is dotted: without room for words
    they still differ.
    """

    at_week: float
    words: str
    is_alert: bool
    left: float
    right: float
    row: int


def marks_of(
    alerts: Iterable[tuple[date, str]], notes_on: Iterable[date], first_on: date, weeks: int
) -> list[Mark]:
    """Marks of alerts, each with its words, and of notes; those of one day share one."""
    words_on: dict[date, list[str]] = {}
    for day, words in alerts:
        words_on.setdefault(day, []).append(words)
    notes = {day: [NOTE] for day in notes_on}
    return _placed(
        [
            (
                min(week_of(first_on, day), weeks),
                " + ".join(dict.fromkeys(words_on.get(day, []) + notes.get(day, []))),
                day in words_on,
            )
            for day in sorted(words_on | notes)
        ],
        weeks,
    )


def _placed(happenings: Sequence[tuple[float, str, bool]], weeks: int) -> list[Mark]:
    """Give each its row above the panels, the newest first; without room the line stands without words.

    The picture's description names every one all the same.
    """
    free_until = [float(weeks)] * MOST_MARK_ROWS
    marks: list[Mark] = []
    for at_week, words, is_alert in reversed(happenings):
        width = len(words) * MARK_LETTER_IN / (WIDTH * WIDTH_IN) * weeks
        left = max(min(at_week - width / 2, weeks - width), 0.0)
        row = next((row for row, free in enumerate(free_until) if left + width <= free), None)
        if row is not None:
            free_until[row] = left
        marks.append(Mark(at_week, "" if row is None else words, is_alert, left, left + width, row or 0))
    return marks


def room_for(marks: Sequence[Mark]) -> float:
    """How much of the picture's height the words of these marks need."""
    return MARK_ROW * (1 + max((mark.row for mark in marks), default=-1))


def draw_marks(panels: "Sequence[Axes]", marks: Sequence[Mark], ink: Ink) -> None:
    """Lines through all panels, words and triangles above the first."""
    upper = panels[0]
    for mark in marks:
        line = ALERT_LINE if mark.is_alert else NOTE_LINE
        for axes in panels:
            axes.axvline(mark.at_week, color=ink.text, linewidth=0.8, linestyle=line, zorder=1)
        upper.annotate(
            "",
            xy=(mark.at_week, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, LOWEST_WORDS_POINTS + MARK_ROW_POINTS * mark.row),
            textcoords="offset points",
            arrowprops={"arrowstyle": "-", "linewidth": 0.5, "color": ink.text, "shrinkA": 0, "shrinkB": 0},
            annotation_clip=False,
        )
    at_alerts = [mark.at_week for mark in marks if mark.is_alert]
    upper.plot(
        at_alerts,
        [1.0] * len(at_alerts),
        "v",
        color=ink.text,
        markersize=4,
        transform=upper.get_xaxis_transform(),
        clip_on=False,
        zorder=6,
    )
    for mark in [mark for mark in marks if mark.words]:
        upper.annotate(
            mark.words,
            xy=((mark.left + mark.right) / 2, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, LOWEST_WORDS_POINTS + MARK_ROW_POINTS * mark.row),
            textcoords="offset points",
            ha="center",
            va="bottom",
            size=7,
            color=ink.text,
            bbox={"facecolor": ink.paper, "edgecolor": "none", "pad": 0.4},
            annotation_clip=False,
        )
