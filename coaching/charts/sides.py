"""The two sides of a lift: the estimated one-repetition maximum of each, and how far they lie apart."""

from typing import TYPE_CHECKING, Any

from coaching.charts.ground import (
    DARK,
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
from coaching.charts.words import describe_sides, difference_words, side_alert_words, sides_title
from coaching.reads.history import LiftPoint
from coaching.reads.lift_sides import LiftSidesHistory

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ENOUGH_POINTS = 40
BELOW_TWO_LINES = 0.765


def draw_sides(history: LiftSidesHistory, *, format: PictureFormat, is_dark: bool = False) -> bytes:
    """Draw both sides of the lift as a picture file."""
    ink = DARK if is_dark else LIGHT
    title = sides_title(history)
    alerts = [(opening.opened_on, side_alert_words(side, opening)) for side, opening in history.alerts]
    marks = marks_of(alerts, (), history.first_on, weeks_between(history.first_on, history.until_on))
    with new_figure(ink) as figure:
        top = BELOW_TWO_LINES - room_for(marks)
        axes = one_panel(figure, ink, history.first_on, history.until_on, top=top)
        axes.set_ylabel("estimated 1RM (kg)")
        if history.left or history.right:
            _draw_sides(axes, history, ink)
        else:
            axes.set_yticks([])
            write_in_the_middle(axes, "No comparable exposure of one side in these weeks", ink)
        draw_marks((axes,), marks, ink)
        write_title(figure, title, ink)
        for row, words in enumerate(difference_words(history)):
            write_line(figure, words, ink, row=row)
        return bytes_of(figure, format, title, describe_sides(history))


def _draw_sides(axes: "Axes", history: LiftSidesHistory, ink: Ink) -> None:
    """Left: full circles on a whole line; right: open squares on a broken one, which hide no circle."""
    looks: list[tuple[str, tuple[LiftPoint, ...], float, dict[str, Any]]] = [
        ("left", history.left, 4.0, {"marker": "o", "linestyle": "-", "color": ink.strong}),
        (
            "right",
            history.right,
            5.5,
            {"marker": "s", "linestyle": (0, (3, 1.5)), "color": ink.bar_edge, "markerfacecolor": "none"},
        ),
    ]
    for label, points, size, look in looks:
        if points:
            axes.plot(
                [week_of(history.first_on, point.day_on) for point in points],
                [float(point.e1rm_kg or 0) for point in points],
                markersize=smaller_when_many(size, len(points), ENOUGH_POINTS),
                linewidth=smaller_when_many(1.2, len(points), ENOUGH_POINTS),
                clip_on=False,  # a mark of the first day stands on the edge
                label=label,
                **look,
            )
    limit_to(axes, [float(point.e1rm_kg or 0) for point in (*history.left, *history.right)])
    write_key(axes, ink)
