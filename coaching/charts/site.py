"""A site's weeks: pain above the joint repetitions of the same weeks, with the alerts that opened."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from coaching.charts.ground import (
    DARK,
    LIGHT,
    TOP,
    WIDTH,
    WIDTH_IN,
    Ink,
    PictureFormat,
    bytes_of,
    label_weeks,
    new_figure,
    smaller_when_many,
    two_panels,
    week_of,
    write_in_the_middle,
    write_key,
    write_title,
)
from coaching.charts.words import NOTE, capital, describe_site, kind_words, site_words
from coaching.reads.history import SiteWeeks

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARK_ROW, MOST_MARK_ROWS, MARK_LETTER_IN = 0.055, 3, 0.058
MARK_ROW_POINTS = 10.3
SUNDAY = 6
TEN_THOUSAND = 10_000
ALERT_LINE, NOTE_LINE = (0, (4, 2)), (0, (1, 2))


@dataclass(frozen=True, slots=True)
class _Mark:
    """Something that happened on one day: a line through both panels, its words above them.

    An alert's line is dashed, that of a note alone dotted: without room for words they still differ.
    """

    at_week: float
    words: str
    is_alert: bool
    left: float
    right: float
    row: int


def draw_site(history: SiteWeeks, *, format: PictureFormat, is_dark: bool = False) -> bytes:
    """Draw the site's weeks as a picture file."""
    ink = DARK if is_dark else LIGHT
    title = f"{capital(site_words(history.joint, history.side))}: pain and joint reps"
    marks = _place(_happenings(history), len(history.week_starts))
    with new_figure(ink) as figure:
        mark_rows = 1 + max((mark.row for mark in marks), default=-1)
        upper, lower = two_panels(figure, ink, TOP - MARK_ROW * mark_rows)
        _draw_pain(upper, history, ink)
        _draw_joint_reps(lower, history, ink)
        _draw_marks(upper, lower, marks, ink)
        if history.is_empty:
            write_in_the_middle(upper, "Nothing recorded in these weeks", ink)
        write_title(figure, title, ink)
        return bytes_of(figure, format, title, describe_site(history))


def _draw_pain(axes: "Axes", history: SiteWeeks, ink: Ink) -> None:
    weeks = len(history.week_starts)
    middles = [week + 0.5 for week in range(weeks)]
    highest = [float("nan") if pain is None else float(pain) for pain in history.pain_highest]
    medians = [float("nan") if pain is None else pain for pain in history.pain_median]
    axes.plot(
        middles,
        highest,
        "o-",
        color=ink.strong,
        markersize=smaller_when_many(3.2, weeks),
        linewidth=smaller_when_many(1.4, weeks, enough=60),
        label="highest",
        zorder=4,
    )
    axes.plot(
        middles,
        medians,
        "s--",
        color=ink.soft,
        markersize=smaller_when_many(4.4, weeks),
        linewidth=1.0,
        markerfacecolor=ink.paper,
        label="median",
        zorder=3,
    )
    axes.set_ylim(-0.4, 13.2)
    axes.set_yticks([0, 2, 4, 6, 8, 10])
    axes.set_ylabel("pain (0-10)")
    if not history.is_empty and all(pain is None for pain in history.pain_highest):
        write_in_the_middle(axes, "No pain of a training day reported", ink)
    write_key(axes, ink)


def _draw_joint_reps(axes: "Axes", history: SiteWeeks, ink: Ink) -> None:
    weeks = len(history.week_starts)
    bars = axes.bar(
        [week + 0.5 for week in range(weeks)],
        history.joint_reps,
        width=0.78,
        color=ink.bar,
        edgecolor=ink.bar_edge,
        linewidth=0.6,
    )
    for bar, is_deload in zip(bars, history.is_deload, strict=True):
        if is_deload:
            bar.set(hatch="//////", label="deload week")
    if history.until_on.weekday() != SUNDAY:
        bars[-1].set(facecolor=ink.paper, linestyle=(0, (2, 1)), label="week so far")
    keyed = {bar.get_label(): bar for bar in bars if not bar.get_label().startswith("_")}
    if keyed and any(history.joint_reps):
        write_key(axes, ink, handles=list(keyed.values()))
    axes.set_ylim(0, max(*history.joint_reps, 10.0) * 1.45)
    axes.yaxis.set_major_formatter(
        lambda reps, _: f"{reps:g}" if reps < TEN_THOUSAND else f"{reps / 1000:g}k"
    )
    axes.set_ylabel("joint reps")
    label_weeks(axes, history.week_starts[0], weeks)


def _happenings(history: SiteWeeks) -> list[tuple[float, str, bool]]:
    """When alerts opened or the coach noted a change, in weeks; what to call it; whether it is an alert."""
    alerts: dict[date, list[str]] = {}
    for row in history.alert_openings:
        alerts.setdefault(row.opened_on, []).append(kind_words(row.kind))
    notes = {day: [NOTE] for day in history.notes_on}
    first_on, weeks = history.week_starts[0], len(history.week_starts)
    return [
        (
            min(week_of(first_on, day), weeks),
            " + ".join(dict.fromkeys(alerts.get(day, []) + notes.get(day, []))),
            day in alerts,
        )
        for day in sorted(alerts | notes)
    ]


def _place(happenings: list[tuple[float, str, bool]], weeks: int) -> list[_Mark]:
    """Give each its row above the panels, the newest first; without room the line stands without words.

    The picture's description names every one all the same.
    """
    free_until = [float(weeks)] * MOST_MARK_ROWS
    marks: list[_Mark] = []
    for at_week, words, is_alert in reversed(happenings):
        width = len(words) * MARK_LETTER_IN / (WIDTH * WIDTH_IN) * weeks
        left = max(min(at_week - width / 2, weeks - width), 0.0)
        row = next((row for row, free in enumerate(free_until) if left + width <= free), None)
        if row is not None:
            free_until[row] = left
        marks.append(_Mark(at_week, "" if row is None else words, is_alert, left, left + width, row or 0))
    return marks


def _draw_marks(upper: "Axes", lower: "Axes", marks: list[_Mark], ink: Ink) -> None:
    for mark in marks:
        line = ALERT_LINE if mark.is_alert else NOTE_LINE
        for axes in (upper, lower):
            axes.axvline(mark.at_week, color=ink.text, linewidth=0.8, linestyle=line, zorder=1)
        upper.annotate(
            "",
            xy=(mark.at_week, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3 + MARK_ROW_POINTS * mark.row),
            textcoords="offset points",
            arrowprops={"arrowstyle": "-", "linewidth": 0.5, "color": ink.text, "shrinkA": 0, "shrinkB": 0},
            annotation_clip=False,
        )
    for mark in [mark for mark in marks if mark.words]:
        upper.annotate(
            mark.words,
            xy=((mark.left + mark.right) / 2, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3 + MARK_ROW_POINTS * mark.row),
            textcoords="offset points",
            ha="center",
            va="bottom",
            size=7,
            color=ink.text,
            bbox={"facecolor": ink.paper, "edgecolor": "none", "pad": 0.4},
            annotation_clip=False,
        )
