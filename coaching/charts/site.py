"""A site's weeks: pain above the joint repetitions of the same weeks, with the alerts that opened."""

from typing import TYPE_CHECKING

from coaching.charts.ground import (
    DARK,
    LIGHT,
    TOP,
    Ink,
    PictureFormat,
    bytes_of,
    label_weeks,
    new_figure,
    smaller_when_many,
    two_panels,
    write_in_the_middle,
    write_key,
    write_title,
)
from coaching.charts.marks import draw_marks, marks_of, room_for
from coaching.charts.words import capital, describe_site, kind_words, site_words
from coaching.reads.history import SiteWeeks

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SUNDAY = 6
TEN_THOUSAND = 10_000


def draw_site(history: SiteWeeks, *, format: PictureFormat, is_dark: bool = False) -> bytes:
    """Draw the site's weeks as a picture file."""
    ink = DARK if is_dark else LIGHT
    title = f"{capital(site_words(history.joint, history.side))}: pain and joint reps"
    alerts = [(row.opened_on, kind_words(row.kind)) for row in history.alert_openings]
    marks = marks_of(alerts, history.notes_on, history.week_starts[0], len(history.week_starts))
    with new_figure(ink) as figure:
        upper, lower = two_panels(figure, ink, TOP - room_for(marks))
        _draw_pain(upper, history, ink)
        _draw_joint_reps(lower, history, ink)
        draw_marks((upper, lower), marks, ink)
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
