"""A lift: its estimated one-repetition maximum by exposure, with trend and band."""

from typing import TYPE_CHECKING

from coaching.charts.ground import (
    DARK,
    HALF_DAY,
    LIGHT,
    Ink,
    PictureFormat,
    bytes_of,
    limit_to,
    new_figure,
    one_panel,
    smaller_when_many,
    week_of,
    weeks_between,
    write_in_the_middle,
    write_key,
    write_line,
    write_title,
)
from coaching.charts.marks import draw_marks, marks_of, room_for
from coaching.charts.words import (
    describe_lift,
    estimated,
    exercise_words,
    kind_words,
    lift_words,
    trend_words,
)
from coaching.reads.history import LiftHistory, LiftTrend

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BAND_STEPS = 20
ENOUGH_POINTS = 50
BELOW_ONE_LINE = 0.81


def draw_lift(history: LiftHistory, *, format: PictureFormat, is_dark: bool = False) -> bytes:
    """Draw the lift's exposures as a picture file."""
    ink = DARK if is_dark else LIGHT
    title = f"{exercise_words(history)}, {lift_words(history)}"
    alerts = [(row.opened_on, kind_words(row.kind)) for row in history.alert_openings]
    marks = marks_of(alerts, (), history.first_on, weeks_between(history.first_on, history.until_on))
    with new_figure(ink) as figure:
        top = BELOW_ONE_LINE - room_for(marks)
        axes = one_panel(figure, ink, history.first_on, history.until_on, top=top)
        axes.set_ylabel("estimated 1RM (kg)")
        if estimated(history):
            _draw_trend(axes, history, ink)
            _draw_exposures(axes, history, ink)
        else:
            axes.set_yticks([])
            write_in_the_middle(axes, "No exposure in these weeks allows an estimate", ink)
        draw_marks((axes,), marks, ink)
        write_title(figure, title, ink)
        write_line(figure, trend_words(history), ink)
        return bytes_of(figure, format, title, describe_lift(history))


def _draw_exposures(axes: "Axes", history: LiftHistory, ink: Ink) -> None:
    points = estimated(history)
    looks = [
        (
            "exposure",
            "o",
            ink.strong,
            [row for row in points if not row.is_deload and not row.is_pain_limited],
        ),
        ("deload", "s", ink.paper, [row for row in points if row.is_deload]),
        (
            "ended by pain",
            "X",
            ink.soft,
            [row for row in points if row.is_pain_limited and not row.is_deload],
        ),
    ]
    for label, marker, face, rows in looks:
        if rows:
            axes.plot(
                [week_of(history.first_on, row.day_on) for row in rows],
                [float(row.e1rm_kg or 0) for row in rows],
                marker,
                markersize=smaller_when_many(4, len(rows), ENOUGH_POINTS),
                markerfacecolor=face,
                markeredgecolor=ink.text,
                clip_on=False,  # a mark of the first day stands on the edge
                markeredgewidth=smaller_when_many(0.6, len(rows), ENOUGH_POINTS),
                label=label,
            )
    limit_to(axes, [row.e1rm_kg or 0 for row in points])
    write_key(axes, ink, columns=3)


def _draw_trend(axes: "Axes", history: LiftHistory, ink: Ink) -> None:
    """The line through the middle of the exposures; the band holds the slopes of its interval."""
    from matplotlib.colors import to_rgba
    from matplotlib.patheffects import withStroke

    trend = history.trend
    if trend is None:
        return
    # Among many exposures the line would be lost: there it stands above them, on paper of its own.
    is_crowded = len(estimated(history)) > ENOUGH_POINTS
    first, last = week_of(history.first_on, trend.first_on), week_of(history.first_on, trend.last_on)
    weeks = [first + (last - first) * step / BAND_STEPS for step in range(BAND_STEPS + 1)]
    low = _line(trend, weeks, trend.low_kg_per_week)
    high = _line(trend, weeks, trend.high_kg_per_week)
    axes.fill_between(
        weeks,
        [min(pair) for pair in zip(low, high, strict=True)],
        [max(pair) for pair in zip(low, high, strict=True)],
        facecolor=to_rgba(ink.bar, 0.45),
        edgecolor=ink.bar_edge,
        linewidth=0.5,
        label="95 % interval",
    )
    axes.plot(
        weeks,
        _line(trend, weeks, trend.kg_per_week),
        color=ink.bar_edge,
        linewidth=1.4,
        zorder=4 if is_crowded else 2,
        path_effects=[withStroke(linewidth=3.0, foreground=ink.paper)] if is_crowded else [],
        label="trend",
    )


def _line(trend: LiftTrend, weeks: list[float], kg_per_week: float) -> list[float]:
    return [trend.middle_kg + kg_per_week * (week - trend.middle_week - HALF_DAY) for week in weeks]
