"""Pictures of a site, a lift and of adherence, for a phone and for a mail; each also told in words."""

from coaching.charts.adherence import draw_adherence
from coaching.charts.ground import PictureFormat
from coaching.charts.lift import draw_lift
from coaching.charts.site import draw_site
from coaching.charts.words import (
    capital,
    day_words,
    describe_adherence,
    describe_lift,
    describe_site,
    kind_words,
    site_words,
)
from coaching.reads.adherence_weeks import AdherenceWeeks
from coaching.reads.history import LiftHistory, SiteWeeks, tag_of

__all__ = [
    "Drawn",
    "PictureFormat",
    "capital",
    "day_words",
    "describe_adherence",
    "describe_lift",
    "describe_site",
    "draw",
    "draw_adherence",
    "draw_lift",
    "draw_site",
    "kind_words",
    "picture_tag",
    "site_words",
]

DRAWING_VERSION = 2

Drawn = SiteWeeks | LiftHistory | AdherenceWeeks


def draw(history: Drawn, *, format: PictureFormat, is_dark: bool = False) -> bytes:
    """Draw whichever it is as a picture file."""
    match history:
        case SiteWeeks():
            return draw_site(history, format=format, is_dark=is_dark)
        case LiftHistory():
            return draw_lift(history, format=format, is_dark=is_dark)
        case AdherenceWeeks():
            return draw_adherence(history, format=format, is_dark=is_dark)


def picture_tag(history: Drawn, *, format: PictureFormat, is_dark: bool) -> str:
    """A digest of what is drawn and how: the same tag means the same picture."""
    return f"{DRAWING_VERSION}-{format}-{'dark' if is_dark else 'light'}-{tag_of(history)}"
