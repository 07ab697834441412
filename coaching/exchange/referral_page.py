"""A referral's one page as PDF and as HTML, both with the same words."""

import base64

from django.template.loader import render_to_string

from coaching.charts import DRAWING_VERSION, draw_site
from coaching.exchange.referral_pdf import PAGE_BOTTOM, open_document, write_page
from coaching.exchange.referral_words import ReferralPage, Room, page_of
from coaching.reads.referrals import ReferralSummary, summary_tag

LAYOUT_VERSION = 1
# The roomiest that fits is taken; the last one fits the widest letters that the font has.
ROOMS = (
    Room(6, 600),
    Room(5, 420),
    Room(4, 300),
    Room(3, 220),
    Room(3, 150),
    Room(2, 110),
    Room(1, 70),
    Room(0, 0, names=60, question=200),
)


def referral_html(summary: ReferralSummary) -> bytes:
    """The page for a browser; it loads nothing from elsewhere and prints on A4."""
    picture = base64.b64encode(draw_site(summary.weeks, format="svg")).decode()
    page = fitting_page(summary)
    return render_to_string("referrals/page.html", {"page": page, "picture": picture}).encode()


def referral_pdf(summary: ReferralSummary) -> bytes:
    """The page as PDF, the same bytes for the same summary."""
    page = fitting_page(summary)
    with open_document(page.title, summary.written_at) as document:
        write_page(document, page, draw_site(summary.weeks, format="png"))
        return bytes(document.output())


def fitting_page(summary: ReferralSummary) -> ReferralPage:
    """As much as one sheet of A4 holds; what is left out is counted on it."""
    pages = (page_of(summary, room) for room in ROOMS)
    with open_document("", summary.written_at) as trial:
        return next(page for page in pages if write_page(trial, page) <= PAGE_BOTTOM)


def page_tag(summary: ReferralSummary, form: str) -> str:
    """The same tag means the same bytes."""
    return f"{LAYOUT_VERSION}.{DRAWING_VERSION}-{form}-{summary_tag(summary)}"
