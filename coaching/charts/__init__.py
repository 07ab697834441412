"""Pictures of a site, a lift, its two sides and adherence, for phone and mail; each also told in words."""

from coaching.charts.adherence import draw_adherence
from coaching.charts.ground import PictureFormat
from coaching.charts.lift import draw_lift
from coaching.charts.sides import draw_sides
from coaching.charts.site import draw_site
from coaching.charts.words import (
    capital,
    day_words,
    describe_adherence,
    describe_lift,
    describe_sides,
    describe_site,
    kind_words,
    site_words,
)
from coaching.reads.adherence_weeks import AdherenceWeeks
from coaching.reads.history import LiftHistory, SiteWeeks, tag_of
from coaching.reads.lift_sides import LiftSidesHistory

__all__ = [
    "DRAWING_VERSION",
    "Drawn",
    "PictureFormat",
    "capital",
    "day_words",
    "describe_adherence",
    "describe_lift",
    "describe_sides",
    "describe_site",
    "draw",
    "draw_adherence",
    "draw_lift",
    "draw_sides",
    "draw_site",
    "kind_words",
    "picture_tag",
    "site_words",
]

DRAWING_VERSION = 3

Drawn = SiteWeeks | LiftHistory | LiftSidesHistory | AdherenceWeeks


def draw(history: Drawn, *, format: PictureFormat, is_dark: bool = False) -> bytes:
    """Draw whichever it is as a picture file."""
    match history:
        case SiteWeeks():
            return draw_site(history, format=format, is_dark=is_dark)
        case LiftHistory():
            return draw_lift(history, format=format, is_dark=is_dark)
        case LiftSidesHistory():
            return draw_sides(history, format=format, is_dark=is_dark)
        case AdherenceWeeks():
            return draw_adherence(history, format=format, is_dark=is_dark)


def picture_tag(history: Drawn, *, format: PictureFormat, is_dark: bool) -> str:
    """A digest of what is drawn and how: the same tag means the same picture."""
    return f"{DRAWING_VERSION}-{format}-{'dark' if is_dark else 'light'}-{tag_of(history)}"
