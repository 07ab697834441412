"""A site's weeks: pain above the joint repetitions of the same weeks, with the alerts that opened."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from coaching.charts.ground import (
    DARK,
    LIGHT,
    WIDTH_IN,
    Ink,
    PictureFormat,
    bytes_of,
    label_weeks,
    new_figure,
    style,
    write_in_the_middle,
    write_key,
    write_title,
)
from coaching.charts.words import capital, describe_site, kind_words, site_words
from coaching.reads.history import SiteWeeks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT, WIDTH, BOTTOM, TOP = 0.125, 0.86, 0.135, 0.90
MARK_ROW, MOST_MARK_ROWS, MARK_LETTER_IN = 0.055, 3, 0.058
MARK_ROW_POINTS = 10.3
SUNDAY = 6


@dataclass(frozen=True, slots=True)
class _Mark:
    """Something that happened on one day: a line through both panels, its words above them."""

    at_week: float
    words: str
    left: float
    right: float
    row: int


def draw_site(history: SiteWeeks, *, format: PictureFormat, is_dark: bool = False) -> bytes:
    """Draw the site's weeks as a picture file."""
    ink = DARK if is_dark else LIGHT
    title = f"{capital(site_words(history.joint, history.side))}: pain and joint reps"
    marks = _place(_happenings(history), len(history.week_starts))
    with new_figure(ink) as figure:
        upper, lower = _two_panels(figure, ink, 1 + max((mark.row for mark in marks), default=-1))
        _draw_pain(upper, history, ink)
        _draw_joint_reps(lower, history, ink)
        _draw_marks(upper, lower, marks, ink)
        if history.is_empty:
            write_in_the_middle(upper, "Nothing recorded in these weeks", ink)
        write_title(figure, title, ink)
        return bytes_of(figure, format, title, describe_site(history))


def _two_panels(figure: "Figure", ink: Ink, mark_rows: int) -> "tuple[Axes, Axes]":
    top = TOP - MARK_ROW * mark_rows
    middle = BOTTOM + (top - BOTTOM) * 0.44
    lower = figure.add_axes((LEFT, BOTTOM, WIDTH, middle - BOTTOM - 0.025))
    upper = figure.add_axes((LEFT, middle + 0.025, WIDTH, top - middle - 0.025), sharex=lower)
    for axes in (upper, lower):
        style(axes, ink)
        axes.yaxis.set_label_coords(-0.105, 0.5)
    upper.tick_params(labelbottom=False)
    return upper, lower


def _draw_pain(axes: "Axes", history: SiteWeeks, ink: Ink) -> None:
    middles = [week + 0.5 for week in range(len(history.week_starts))]
    highest = [float("nan") if pain is None else float(pain) for pain in history.pain_highest]
    medians = [float("nan") if pain is None else pain for pain in history.pain_median]
    axes.plot(
        middles, highest, "o-", color=ink.strong, markersize=3.2, linewidth=1.4, label="highest", zorder=4
    )
    axes.plot(
        middles,
        medians,
        "s--",
        color=ink.soft,
        markersize=2.8,
        linewidth=1.0,
        markerfacecolor=ink.paper,
        label="median",
        zorder=3,
    )
    axes.set_ylim(-0.4, 13.2)
    axes.set_yticks([0, 2, 4, 6, 8, 10])
    axes.set_ylabel("pain (0-10)")
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
    axes.set_ylabel("joint reps")
    label_weeks(axes, history.week_starts[0], weeks)


def _happenings(history: SiteWeeks) -> list[tuple[float, str]]:
    """When, in weeks from the first one, alerts opened or the coach noted a change, and what to call it."""
    words: dict[date, list[str]] = {}
    for row in history.alert_openings:
        words.setdefault(row.opened_on, []).append(kind_words(row.kind))
    for noted_on in history.notes_on:
        words.setdefault(noted_on, []).append("coach's note")
    first_on = history.week_starts[0]
    return [
        (min((day - first_on).days / 7 + 1 / 14, len(history.week_starts)), " + ".join(dict.fromkeys(said)))
        for day, said in sorted(words.items())
    ]


def _place(happenings: list[tuple[float, str]], weeks: int) -> list[_Mark]:
    """Give each its row above the panels, the newest first; without room the line stands without words.

    The picture's description names every alert all the same.
    """
    free_until = [float(weeks)] * MOST_MARK_ROWS
    marks: list[_Mark] = []
    for at_week, words in reversed(happenings):
        width = len(words) * MARK_LETTER_IN / (WIDTH * WIDTH_IN) * weeks
        left = max(min(at_week - width / 2, weeks - width), 0.0)
        row = next((row for row, free in enumerate(free_until) if left + width <= free), None)
        if row is not None:
            free_until[row] = left
        marks.append(_Mark(at_week, "" if row is None else words, left, left + width, row or 0))
    return marks


def _draw_marks(upper: "Axes", lower: "Axes", marks: list[_Mark], ink: Ink) -> None:
    for mark in marks:
        for axes in (upper, lower):
            axes.axvline(mark.at_week, color=ink.text, linewidth=0.8, linestyle=(0, (4, 2)), zorder=1)
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
