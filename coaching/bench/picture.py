"""The trade-off in a picture: what each pain rule flags against how often it is wrong."""

from typing import TYPE_CHECKING

from coaching.bench.measures import PainResult
from coaching.bench.report import BenchResult
from coaching.bench.rules import (
    FIXED_LEVEL,
    MANN_KENDALL,
    OURS,
    TOLD_ALL,
    TOLD_ALL_WITH_VOLUME,
    WORKLOAD_RATIO,
)
from coaching.charts.ground import LIGHT, bytes_of, new_figure, style, write_title

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TITLE = "Flares flagged within 42 days"
MOST_FALSE_PER_YEAR = 1.0
# Each rule has a line and a mark of its own, so that a grey print tells them apart.
LOOKS = {
    OURS: ("ours", "-", "o", LIGHT.strong),
    TOLD_ALL: ("told all but the onset", "--", "", LIGHT.text),
    TOLD_ALL_WITH_VOLUME: ("told all + volume up", ":", "", LIGHT.text),
    MANN_KENDALL: ("Mann-Kendall + volume up", "-.", "^", LIGHT.bar_edge),
    FIXED_LEVEL: ("fixed pain level", "-", "s", LIGHT.soft),
    WORKLOAD_RATIO: ("acute:chronic ratio", "-", "x", LIGHT.bar_edge),
}


def draw_trade_off(result: BenchResult) -> bytes:
    """Draw the curves of all pain rules as a PNG file."""
    with new_figure(LIGHT) as figure:
        axes = figure.add_axes((0.125, 0.15, 0.845, 0.725))
        style(axes, LIGHT)
        for each in result.pain:
            _draw_curve(axes, each)
        axes.set_xlim(0, MOST_FALSE_PER_YEAR)
        axes.set_ylim(0, 1.02)
        axes.set_yticks([0, 0.25, 0.5, 0.75, 1], ["0 %", "25 %", "50 %", "75 %", "100 %"])
        axes.set_xlabel("false alerts per site and year", labelpad=2)
        axes.legend(
            loc="center right",
            bbox_to_anchor=(1, 0.5),
            fontsize=6.5,
            labelspacing=0.3,
            frameon=False,
            handlelength=3,
        )
        write_title(figure, TITLE, LIGHT)
        return bytes_of(figure, "png", TITLE, _told(result))


def _draw_curve(axes: "Axes", result: PainResult) -> None:
    label, line, mark, colour = LOOKS[result.rule]
    shown = [point for point in result.curve if point.false_per_year <= MOST_FALSE_PER_YEAR]
    axes.plot(
        [point.false_per_year for point in shown],
        [point.flare_share for point in shown],
        linestyle=line,
        marker=mark,
        markersize=2.5,
        markevery=2,
        linewidth=1.6 if result.rule == OURS else 1.0,
        color=colour,
        label=label,
    )
    if result.rule == OURS:
        axes.plot(
            [result.false_per_year],
            [result.found["flare"].share],
            "o",
            markersize=6,
            markerfacecolor="none",
            markeredgecolor=colour,
            label="ours as it is set",
        )


def _told(result: BenchResult) -> str:
    return (
        f"Share of flares flagged against false alerts, {result.size} clients of each kind, "
        f"seed {result.seed}."
    )
