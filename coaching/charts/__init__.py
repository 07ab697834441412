"""Pictures of a site's weeks and of a lift, for a phone and for a mail; each also told in words."""

from coaching.charts.ground import PictureFormat
from coaching.charts.lift import draw_lift
from coaching.charts.site import draw_site
from coaching.charts.words import capital, day_words, describe_lift, describe_site, kind_words, site_words
from coaching.reads.history import LiftHistory, SiteWeeks, tag_of

__all__ = [
    "PictureFormat",
    "capital",
    "day_words",
    "describe_lift",
    "describe_site",
    "draw_lift",
    "draw_site",
    "kind_words",
    "picture_tag",
    "site_words",
]

DRAWING_VERSION = 1


def picture_tag(history: SiteWeeks | LiftHistory, *, format: PictureFormat, is_dark: bool) -> str:
    """A digest of what is drawn and how: the same tag means the same picture."""
    return f"{DRAWING_VERSION}-{format}-{'dark' if is_dark else 'light'}-{tag_of(history)}"
