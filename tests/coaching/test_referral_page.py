from dataclasses import replace
from datetime import date

import pytest

from coaching.charts import draw_site
from coaching.exchange.referral_page import (
    ROOMS,
    fitting_page,
    open_document,
    page_tag,
    referral_html,
    referral_pdf,
    write_page,
)
from coaching.exchange.referral_pdf import BOX, BOX_NOTE, PAGE_BOTTOM
from coaching.exchange.referral_words import page_of
from coaching.reads.referrals import ToldAlert, ToldChange
from tests.factories import NOW
from tests.referral_summaries import longest_summary, plain_summary

WIDEST = "\u2031"  # of all letters that the font has
CHANGES = tuple(ToldChange(date(2026, 2, day), f"Change {day}.", "") for day in range(28, 0, -1))


def section(page, title):
    return next(row for row in page.sections if title in row.title)


def bottom_of(page, picture=None):
    with open_document("", NOW) as document:
        return write_page(document, page, picture)


@pytest.mark.parametrize(
    "summary",
    [
        plain_summary(),
        *map(longest_summary, ["W", "word and ", WIDEST, "\u7530", "\u05d0"]),
        plain_summary(birth_on=None, referred_by="", injuries=(), restrictions=(), alerts=(), changes=()),
    ],
    ids=["plain", "one wide word", "words", "widest letter", "letters without glyph", "Hebrew", "bare"],
)
def test_whatever_the_records_hold_it_fits_one_sheet(summary):
    assert bottom_of(fitting_page(summary)) <= PAGE_BOTTOM


def test_the_document_has_one_sheet_and_its_own_letters():
    pdf = referral_pdf(longest_summary())
    assert pdf.startswith(b"%PDF-")
    assert pdf.count(b"/Type /Page\n") == 1
    assert b"DejaVuSans" in pdf


def test_a_plain_history_is_told_whole():
    page = fitting_page(plain_summary())
    assert page == page_of(plain_summary(), ROOMS[0])
    assert not any(row.rest for row in page.sections)


def test_the_picture_does_not_move_the_words():
    page = page_of(plain_summary(), ROOMS[0])
    assert bottom_of(page, draw_site(plain_summary().weeks, format="png")) == bottom_of(page)


def test_what_has_no_room_is_counted():
    changes = section(page_of(plain_summary(changes=CHANGES), ROOMS[1]), "changed")
    assert changes.items[0] == "28 February 2026: Change 28."
    assert len(changes.items) == 5
    assert changes.rest == "and 23 older, left out for want of room"


def test_where_no_item_has_room_they_are_still_counted():
    assert (
        section(page_of(plain_summary(), ROOMS[-1]), "Alerts").rest
        == "and 1 older, left out for want of room"
    )


def test_a_shortened_item_says_so():
    alert = ToldAlert(date(2026, 2, 1), None, "", "pain_rising", "x" * 900)
    told = section(page_of(plain_summary(alerts=(alert,)), ROOMS[0]), "Alerts").items[0]
    assert told.startswith("1 February 2026, pain rising (standing): xxx")
    assert told.endswith("... [shortened]")


def test_nothing_recorded_is_said():
    page = page_of(plain_summary(injuries=(), changes=()), ROOMS[0])
    assert section(page, "Injury").rest == "None recorded."
    assert section(page, "changed").rest == "No shared note."


def test_who_said_what_is_told():
    page = page_of(plain_summary(), ROOMS[0])
    assert section(page, "Injury").items == (
        "Active, since 4 May 2019; said by the clinician: Torn meniscus, trimmed. Cautions: No twisting. "
        "Cap 300 joint reps a week. Pain limit 5 of 10.",
    )
    assert section(page, "restrictions").items == (
        "Limit: No jumping, from 1 January 2026; said by the clinician",
    )


def test_how_an_alert_ended_is_told():
    alert = ToldAlert(date(2026, 2, 1), date(2026, 2, 9), "withdrawn", "red_flag", "Swollen calf.")
    assert section(page_of(plain_summary(alerts=(alert,)), ROOMS[0]), "Alerts").items == (
        "1 February 2026, red flag (withdrawn as entered by mistake 9 February 2026): Swollen calf.",
    )


def test_unknown_pain_is_no_zero():
    weeks = page_of(plain_summary(), ROOMS[0]).weeks
    assert (weeks[0].pain_highest, weeks[0].pain_median, weeks[0].joint_reps) == ("–", "–", "90")
    assert weeks[7].week == "5 Jan 2026 (deload)"
    assert weeks[-1].week == "2 Mar 2026 so far"


def test_the_page_carries_its_cautions():
    words = " ".join(page_of(plain_summary(), ROOMS[-1]).cautions)
    for caution in (
        "not a medical device",
        "no diagnosis",
        "client's own report",
        "clears nobody",
        "call 112",
    ):
        assert caution in words


def test_who_consented_and_how_is_told():
    page = page_of(plain_summary(is_consent_by_client=False), ROOMS[0])
    assert page.consent == (
        "Passed on with the client's consent to be referred: text 2026-01, recorded by a coach for the "
        "client on 1 March 2026."
    )


def test_the_same_summary_gives_the_same_bytes():
    assert referral_pdf(plain_summary()) == referral_pdf(plain_summary())
    assert referral_html(plain_summary()) == referral_html(plain_summary())


def test_another_summary_has_another_tag():
    tags = {page_tag(plain_summary(), form) for form in ("pdf", "html", "fhir.json")}
    assert len(tags | {page_tag(plain_summary(question="Else?"), "pdf")}) == 4


@pytest.fixture
def said(monkeypatch):
    """What is written on a sheet, for a client of this name."""

    def sheet_of(client_name):
        heard = []
        with open_document("", NOW) as document:
            write = document.multi_cell

            def overheard(*where, **how):
                heard.append(how.get("text") or where[2])
                return write(*where, **how)

            monkeypatch.setattr(document, "multi_cell", overheard)
            write_page(document, page_of(plain_summary(client_name=client_name), ROOMS[0]))
        return heard

    return sheet_of


def test_a_letter_without_a_glyph_is_a_box_and_is_explained(said):
    sheet = said("Łukasz Иван \u7530")
    assert f"Łukasz Иван {BOX}, born 29 February 1980" in sheet
    assert sheet[-1] == BOX_NOTE


def test_a_name_with_every_glyph_needs_no_box(said):
    assert BOX not in "".join(said("Łukasz Иван Ελένη"))


def test_hebrew_stands_from_right_to_left(said):
    assert "Dana \u05de\u05d5\u05dc\u05e9, born 29 February 1980" in said("Dana \u05e9\u05dc\u05d5\u05de")


def test_the_html_escapes_what_people_wrote():
    summary = plain_summary(client_name="<script>alert(1)</script> & Co", question='"<b>?')
    html = referral_html(summary).decode()
    assert "<script" not in html and "&lt;script&gt;" in html
    assert "&quot;&lt;b&gt;?" in html


def test_the_html_loads_nothing_and_describes_its_picture():
    html = referral_html(plain_summary()).decode()
    assert "http:" not in html and "https:" not in html
    assert 'alt="Left knee, 16 weeks to 2 March 2026.' in html
    assert html.count('<tr><th scope="row">') == 16


def test_the_html_says_what_the_sheet_says():
    summary = replace(longest_summary("word and "), client_name="Mira Lift")
    page, html = fitting_page(summary), referral_html(summary).decode()
    for row in page.sections:
        assert row.rest in html
        for item in row.items:
            assert item in html.replace("&#x27;", "'")
