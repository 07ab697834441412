"""What every picture stands on: its size, its colours, its axes, and the bytes that come out."""

import io
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PictureFormat = Literal["png", "svg"]

WIDTH_IN, HEIGHT_IN, DOTS_PER_IN = 3.6, 2.6, 200  # 720 x 520 px: a phone's width at twice its pixels
MOST_DATES = 5
SETTINGS = {
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "svg.fonttype": "none",
    "svg.hashsalt": "picture",
    "text.parse_math": False,  # a name may hold dollar signs
    "hatch.linewidth": 0.7,
}
# The drawing library keeps its settings in one place for the whole process.
_drawing = threading.Lock()


@dataclass(frozen=True, slots=True)
class Ink:
    """Colours that differ in lightness as well, so that a grey print still tells them apart."""

    paper: str
    text: str
    faint: str
    bar: str
    bar_edge: str
    strong: str
    soft: str


LIGHT = Ink("#ffffff", "#1c2126", "#d3d9de", "#b3c4cf", "#56707f", "#7a1f2b", "#b0752a")
DARK = Ink("#14181c", "#e8ebee", "#39424a", "#41596a", "#93abba", "#ffb3a7", "#e0bd84")


@contextmanager
def new_figure(ink: Ink) -> "Iterator[Figure]":
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with _drawing, warnings.catch_warnings(), rc_context(SETTINGS):  # type: ignore[arg-type]  # the stub wants its own key type
        # A name may hold letters that the font lacks: they are drawn as boxes, the description has them.
        warnings.filterwarnings("ignore", message="Glyph", category=UserWarning)
        yield Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DOTS_PER_IN, facecolor=ink.paper)


def style(axes: "Axes", ink: Ink) -> None:
    axes.set_facecolor(ink.paper)
    for side, spine in axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(ink.text)
        spine.set_linewidth(0.6)
    axes.tick_params(colors=ink.text, labelsize=7, width=0.6, length=2, pad=2)
    for axis in (axes.xaxis, axes.yaxis):
        axis.label.set_color(ink.text)
        axis.label.set_fontsize(7.5)
    axes.grid(visible=True, axis="y", color=ink.faint, linewidth=0.4)
    axes.set_axisbelow(True)


def write_title(figure: "Figure", words: str, ink: Ink) -> None:
    figure.text(0.015, 0.985, words, ha="left", va="top", fontweight="bold", color=ink.text, size=9)


def write_key(axes: "Axes", ink: Ink, *, columns: int = 2, **options: Any) -> None:
    """The key, in the headroom above what is drawn."""
    axes.legend(
        loc="upper left",
        ncols=columns,
        fontsize=7,
        facecolor=ink.paper,
        edgecolor="none",
        framealpha=1.0,
        labelcolor=ink.text,
        borderpad=0.1,
        borderaxespad=0.2,
        handlelength=2.2,
        columnspacing=1.2,
        **options,
    )


def write_in_the_middle(axes: "Axes", words: str, ink: Ink) -> None:
    axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", color=ink.text, size=8)


def label_weeks(axes: "Axes", first_on: date, weeks: int) -> None:
    step = -(-weeks // MOST_DATES)
    shown = range(0, weeks, step)
    days = [first_on + timedelta(days=7 * week) for week in shown]
    axes.set_xlim(0, weeks)
    axes.set_xticks([float(week) for week in shown], [f"{day.day} {day:%b}" for day in days])
    last_on = first_on + timedelta(days=7 * weeks - 1)
    years = str(first_on.year) if first_on.year == last_on.year else f"{first_on.year}-{last_on.year}"
    axes.set_xlabel(f"week beginning ({years})", labelpad=2)


def bytes_of(figure: "Figure", format: PictureFormat, title: str, description: str) -> bytes:
    """The picture as a file, the same bytes for the same picture."""
    sink = io.BytesIO()
    if format == "png":
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        canvas = FigureCanvasAgg(figure)
        canvas.print_png(sink, metadata={"Title": title, "Software": None})  # type: ignore[no-untyped-call]
        return sink.getvalue()
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    silence = dict.fromkeys(("Creator", "Date", "Format", "Type"))
    FigureCanvasSVG(figure).print_svg(sink, metadata=silence)  # type: ignore[no-untyped-call]
    return _told(sink.getvalue().decode(), title, description).encode()


def _told(svg: str, title: str, description: str) -> str:
    """The same picture with its title and description where a screen reader looks for them."""
    start = svg.index("<svg ")
    end = svg.index(">", start)
    head = f'{svg[start:end]} role="img" aria-labelledby="told-title told-desc">'
    told = f'<title id="told-title">{escape(title)}</title><desc id="told-desc">{escape(description)}</desc>'
    return f'<?xml version="1.0" encoding="utf-8"?>\n{head}{told}{svg[end + 1 :]}'
