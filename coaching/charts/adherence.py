"""Adherence by week: the bounds of what was done of the plan, above the sessions that they rest on."""

from datetime import date
from typing import TYPE_CHECKING, Any

from coaching.charts.ground import (
    DARK,
    LIGHT,
    Ink,
    PictureFormat,
    bytes_of,
    label_weeks,
    new_figure,
    smaller_when_many,
    two_panels,
    write_in_the_middle,
    write_key,
    write_line,
    write_title,
)
from coaching.charts.words import describe_adherence
from coaching.reads.adherence_weeks import AdherenceWeek, AdherenceWeeks

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TITLE = "Adherence by week"
CAPTION = "A session without a log may have been done."
BELOW_CAPTION = 0.84
BAR_WIDTH = 0.78
KEY_COLUMNS = 3


def draw_adherence(adherence: AdherenceWeeks, *, format: PictureFormat, is_dark: bool = False) -> bytes:
    """Draw the client's weeks of adherence as a picture file."""
    ink = DARK if is_dark else LIGHT
    with new_figure(ink) as figure:
        upper, lower = two_panels(figure, ink, BELOW_CAPTION)
        _draw_bounds(upper, adherence, ink)
        _draw_sessions(lower, adherence, ink)
        write_title(figure, TITLE, ink)
        write_line(figure, CAPTION, ink)
        return bytes_of(figure, format, TITLE, describe_adherence(adherence))


def _draw_bounds(axes: "Axes", adherence: AdherenceWeeks, ink: Ink) -> None:
    """Solid up to the lower bound, hatched from there to the upper; a week of 0 % has its line at 0."""
    known = [
        (place + 0.5, week.low, week.high)
        for place, week in enumerate(adherence.weeks)
        if week.low is not None and week.high is not None
    ]
    places = [place for place, _, _ in known]
    lows = [100 * low for _, low, _ in known]
    gaps = [100 * (high - low) for _, low, high in known]
    looks = _looks(ink, len(adherence.weeks))
    axes.bar(places, lows, BAR_WIDTH, **looks["done"], label="at least")
    if any(gaps):
        axes.bar(places, gaps, BAR_WIDTH, bottom=lows, **looks["no log"], label="at most")
    axes.hlines(
        lows,
        [place - BAR_WIDTH / 2 for place in places],
        [place + BAR_WIDTH / 2 for place in places],
        color=ink.text,
        linewidth=smaller_when_many(1.2, len(places)),
        zorder=4,
    )
    axes.set_ylim(-4, 150)
    axes.set_yticks([0, 50, 100])
    axes.set_ylabel("% of plan")
    if known:
        write_key(axes, ink, handle=1.6)
    else:
        what = "was scheduled" if adherence.is_empty else "counts"
        write_in_the_middle(axes, f"No session {what} in these weeks", ink)


def _draw_sessions(axes: "Axes", adherence: AdherenceWeeks, ink: Ink) -> None:
    weeks = adherence.weeks
    middles = [place + 0.5 for place in range(len(weeks))]
    floor = [0] * len(weeks)
    keyed = 0
    for name, look in _looks(ink, len(weeks)).items():
        numbers = [_number(week, name) for week in weeks]
        if any(numbers):
            axes.bar(middles, numbers, BAR_WIDTH, bottom=floor, **look, label=name)
            floor = [below + number for below, number in zip(floor, numbers, strict=True)]
            keyed += 1
    rows = -(-keyed // KEY_COLUMNS)
    axes.set_ylim(0, max(*floor, 2) * (1.1 + 0.4 * rows))
    axes.locator_params(axis="y", nbins=4, integer=True)
    axes.set_ylabel("sessions")
    label_weeks(axes, _first_on(adherence), len(weeks))
    if keyed:
        write_key(axes, ink, columns=KEY_COLUMNS, handle=1.6)


def _looks(ink: Ink, weeks: int) -> dict[str, dict[str, Any]]:
    """The filling of each kind of session, told apart without colour, in the order of the stack."""
    edge = {"edgecolor": ink.bar_edge, "linewidth": smaller_when_many(0.6, weeks)}
    return {
        "done": {"facecolor": ink.bar_edge, **edge},
        "done too late": {"facecolor": ink.bar, "hatch": "......", **edge},
        "no log": {"facecolor": ink.paper, "hatch": "//////", **edge},
        "not done": {"facecolor": ink.paper, **edge},
        "still open": {"facecolor": ink.paper, **edge, "linestyle": (0, (2, 1))},
    }


def _number(week: AdherenceWeek, name: str) -> int:
    return {
        "done": week.done,
        "done too late": week.late,
        "no log": week.unknown,
        "not done": week.not_done,
        "still open": week.pending,
    }[name]


def _first_on(adherence: AdherenceWeeks) -> date:
    return adherence.weeks[0].starts_on
