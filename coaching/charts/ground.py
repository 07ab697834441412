"""What every picture stands on: its size, its colours, its axes, and the bytes that come out."""

import io
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import escape  # it parses nothing  # nosec B406

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PictureFormat = Literal["png", "svg"]

WIDTH_IN, HEIGHT_IN, DOTS_PER_IN = 3.6, 2.6, 200  # 720 x 520 px: a phone's width at twice its pixels
POINTS_PER_IN, FONT_UNITS_PER_POINT = 72, 65536
LEFT, WIDTH, BOTTOM, TOP = 0.125, 0.86, 0.135, 0.90
MOST_DATES = 5
WEEKS_OF_A_YEAR = 52
HALF_DAY = 1 / 14
TITLE_SIZE, LINE_SIZE = 9.0, 7.5
WIDTH_OF_A_BOX = 1.3 * TITLE_SIZE  # what stands for a letter that the font lacks
SETTINGS = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],  # an SVG names the general family too, for phones without this one
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


def two_panels(figure: "Figure", ink: Ink, top: float = TOP) -> "tuple[Axes, Axes]":
    """An upper and a lower panel over the same weeks; the dates stand below the lower one."""
    middle = BOTTOM + (top - BOTTOM) * 0.44
    lower = figure.add_axes((LEFT, BOTTOM, WIDTH, middle - BOTTOM - 0.025))
    upper = figure.add_axes((LEFT, middle + 0.025, WIDTH, top - middle - 0.025), sharex=lower)
    for axes in (upper, lower):
        style(axes, ink)
        axes.yaxis.set_label_coords(-0.105, 0.5)
    upper.tick_params(labelbottom=False)
    return upper, lower


def one_panel(figure: "Figure", ink: Ink, first_on: date, until_on: date, *, top: float) -> "Axes":
    """One panel over the weeks from `first_on` to `until_on`."""
    axes = figure.add_axes((0.135, 0.155, 0.85, top - 0.155))
    style(axes, ink)
    label_weeks(axes, first_on, weeks_between(first_on, until_on))
    axes.yaxis.set_label_coords(-0.115, 0.5)
    return axes


def limit_to(axes: "Axes", values: Sequence[float]) -> None:
    """A range that shows the values, with headroom for the key, and does not blow up what is nearly equal."""
    lowest, highest = min(values), max(values)
    room = max(highest - lowest, 0.04 * highest)
    axes.set_ylim(lowest - 0.35 * room, highest + 0.55 * room)
    axes.locator_params(axis="y", nbins=6, integer=True)


def week_of(first_on: date, day: date) -> float:
    """The middle of a day, in weeks from the first one."""
    return (day - first_on).days / 7 + HALF_DAY


def weeks_between(first_on: date, until_on: date) -> int:
    """How many weeks begin with the first day and go on to the last, the newest one perhaps in part."""
    return (until_on - first_on).days // 7 + 1


def write_title(figure: "Figure", words: str, ink: Ink) -> None:
    figure.text(
        0.015, 0.985, _fitting(words), ha="left", va="top", fontweight="bold", color=ink.text, size=TITLE_SIZE
    )


def write_line(figure: "Figure", words: str, ink: Ink, *, row: int = 0) -> None:
    """A line of small print below the title."""
    figure.text(0.015, 0.905 - 0.055 * row, words, ha="left", va="top", color=ink.text, size=LINE_SIZE)


def _fitting(title: str) -> str:
    """The title as it fits the width: of its parts between commas, the longest loses its end first."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    font = get_font(findfont(FontProperties(family=["DejaVu Sans"], weight="bold")))
    font.set_size(TITLE_SIZE, POINTS_PER_IN)
    widths = {
        letter: font.load_glyph(glyph).linearHoriAdvance / FONT_UNITS_PER_POINT if glyph else WIDTH_OF_A_BOX
        for letter in f"{title}…"
        for glyph in [font.get_char_index(ord(letter))]
    }

    def width(words: str) -> float:
        return sum(widths[letter] for letter in words)

    whole, parts = title, title.split(", ")
    while width(whole) > 0.97 * WIDTH_IN * POINTS_PER_IN:
        longest = max(range(len(parts)), key=lambda place: len(parts[place]))
        parts[longest] = f"{parts[longest].rstrip('…')[:-1].rstrip()}…"
        whole = ", ".join(parts)
    return whole


def smaller_when_many(size: float, many: int, enough: int = 30) -> float:
    """The size of a mark, so that many of them do not run into one another."""
    return size if many <= enough else max(size * enough / many, size * 0.4)


def write_key(axes: "Axes", ink: Ink, *, columns: int = 2, handle: float = 2.2, **options: Any) -> None:
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
        handlelength=handle,
        columnspacing=1.2,
        **options,
    )


def write_in_the_middle(axes: "Axes", words: str, ink: Ink) -> None:
    axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", color=ink.text, size=8)


def label_weeks(axes: "Axes", first_on: date, weeks: int) -> None:
    step = -(-weeks // MOST_DATES)
    shown = range(0, weeks, step)
    days = [first_on + timedelta(days=7 * week) for week in shown]
    is_long = weeks > WEEKS_OF_A_YEAR
    axes.set_xlim(0, weeks)
    axes.set_xticks(
        [float(week) for week in shown],
        [f"{day:%b %Y}" if is_long else f"{day.day} {day:%b}" for day in days],
    )
    last_on = first_on + timedelta(days=7 * weeks - 1)
    years = str(first_on.year) if first_on.year == last_on.year else f"{first_on.year}-{last_on.year}"
    axes.set_xlabel(f"week beginning ({years})", labelpad=2)


def bytes_of(figure: "Figure", format: PictureFormat, title: str, description: str) -> bytes:
    """The picture as a file, the same bytes for the same picture."""
    sink = io.BytesIO()
    if format == "png":
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        canvas = FigureCanvasAgg(figure)
        canvas.print_png(sink, metadata={"Title": title, "Description": description, "Software": None})  # type: ignore[no-untyped-call]
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
