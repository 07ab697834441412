"""How a referral's page lies on one sheet of A4."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any
from unicodedata import bidirectional

from fpdf import FPDF
from fpdf.bidi import BidiParagraph
from fpdf.enums import MethodReturnValue, TableBordersLayout, TextDirection, XPos, YPos
from fpdf.fonts import TTFFont

from coaching.exchange.referral_words import ReferralPage, Section

MARGIN, WIDTH = 13.0, 184.0
PAGE_BOTTOM = 297.0 - MARGIN
PICTURE_WIDTH = 94.0
PICTURE_HEIGHT = PICTURE_WIDTH * 520 / 720
TABLE_LEFT, TABLE_WIDTHS = MARGIN + PICTURE_WIDTH + 3, (37.0, 12.5, 12.5, 11.0, 14.0)
TABLE_HEAD = ("week beginning", "pain,\nhighest", "pain,\nmedian", "joint\nreps", "reports")
TABLE_ROW = 3.6
INK, RULE = (28, 33, 38), (140, 148, 155)
FAMILY = "DejaVu"
RIGHT_TO_LEFT = ("R", "AL")
LINE = 0.45  # mm a line for each point of its size
BOX = "\u25a1"
BOX_NOTE = f"{BOX} stands for a letter that the font of this page lacks; the HTML page has it."


def write_page(pdf: FPDF, page: ReferralPage, picture: bytes | None = None) -> float:
    """The page on a sheet of its own, and how far down it reaches; without a picture its place is empty."""
    pdf.add_page()
    _write(pdf, page.title, 14, is_bold=True)
    _write(pdf, page.written, 8)
    pdf.ln(1.5)
    _write(pdf, page.person, 10.5, is_bold=True)
    _write(pdf, page.from_whom, 8)
    _write(pdf, page.consent, 8)
    pdf.ln(1.5)
    _write(pdf, "What is asked", 9, is_bold=True)
    _write(pdf, page.question, 9)
    pdf.ln(2)
    _write_weeks(pdf, page, picture)
    for section in page.sections:
        _write_section(pdf, section)
    _write_cautions(pdf, page.cautions)
    if BOX in _printable(pdf, "".join(_free_texts(page))):
        _write(pdf, BOX_NOTE, 7.5)
    return float(pdf.get_y())


@contextmanager
def open_document(title: str, written_at: datetime) -> Iterator[FPDF]:
    """A document without a sheet yet; its font files are closed in the end, whether it was put out or not."""
    pdf = FPDF(format="A4")
    pdf.set_creation_date(written_at)  # and not the moment of printing, so that the bytes stay the same
    pdf.set_title(title)
    pdf.set_lang("en")
    pdf.set_margin(MARGIN)
    pdf.set_auto_page_break(False)
    for style, path in _fonts().items():
        pdf.add_font(FAMILY, style, path)
    pdf.set_text_color(*INK)
    pdf.set_draw_color(*RULE)
    pdf.set_line_width(0.2)
    try:
        yield pdf
    finally:
        for font in _own_fonts(pdf):
            font.close()


def _own_fonts(pdf: FPDF) -> list[TTFFont]:
    return [font for font in pdf.fonts.values() if isinstance(font, TTFFont)]


@cache
def _fonts() -> dict[str, Path]:
    """The plotting library's own font, which has the letters of most names."""
    from matplotlib import get_data_path

    folder = Path(get_data_path()) / "fonts" / "ttf"
    return {"": folder / "DejaVuSans.ttf", "B": folder / "DejaVuSans-Bold.ttf"}


def _write(pdf: FPDF, words: str, size: float, *, is_bold: bool = False) -> None:
    pdf.set_font(FAMILY, "B" if is_bold else "", size)
    pdf.set_x(MARGIN)
    words = _as_read(pdf, _printable(pdf, words), size)
    pdf.multi_cell(WIDTH, size * LINE, words, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)


def _as_read(pdf: FPDF, words: str, size: float) -> str:
    """Line by line in the order in which the letters stand on paper; Arabic letters stay unjoined."""
    if not any(bidirectional(letter) in RIGHT_TO_LEFT for letter in words):
        return words
    lines: Any = pdf.multi_cell(WIDTH, size * LINE, words, dry_run=True, output=MethodReturnValue.LINES)
    paragraphs = (BidiParagraph(line, base_direction=TextDirection.LTR) for line in lines)
    return "\n".join(paragraph.get_reordered_string() for paragraph in paragraphs)


def _printable(pdf: FPDF, words: str) -> str:
    """A letter without a glyph would leave no trace: it becomes a box."""
    glyphs = [font.cmap for font in _own_fonts(pdf)]
    return "".join(letter if all(ord(letter) in known for known in glyphs) else BOX for letter in words)


def _write_weeks(pdf: FPDF, page: ReferralPage, picture: bytes | None) -> None:
    top = pdf.get_y()
    if picture is not None:
        pdf.image(BytesIO(picture), MARGIN, top, PICTURE_WIDTH, PICTURE_HEIGHT, alt_text=page.picture_words)
    pdf.set_xy(TABLE_LEFT, top)
    pdf.set_font(FAMILY, "", 6.5)
    with pdf.table(
        align="RIGHT",
        width=int(sum(TABLE_WIDTHS)),
        col_widths=TABLE_WIDTHS,
        line_height=TABLE_ROW,
        text_align=("LEFT", *["RIGHT"] * 4),
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        padding=0,
    ) as table:
        table.row(TABLE_HEAD)
        for line in page.weeks:
            table.row((line.week, line.pain_highest, line.pain_median, line.joint_reps, line.reports))
    pdf.set_y(max(pdf.get_y(), top + PICTURE_HEIGHT) + 1)
    _write(pdf, page.weeks_note, 7)
    pdf.ln(1.5)


def _free_texts(page: ReferralPage) -> tuple[str, ...]:
    items = (item for section in page.sections for item in section.items)
    return (page.person, page.from_whom, page.consent, page.question, *items, *page.cautions)


def _write_section(pdf: FPDF, section: Section) -> None:
    _write(pdf, section.title, 8.5, is_bold=True)
    for item in section.items:
        _write(pdf, f"•  {item}", 7.5)
    if section.rest:
        _write(pdf, section.rest, 7.5)
    pdf.ln(1.2)


def _write_cautions(pdf: FPDF, cautions: tuple[str, ...]) -> None:
    pdf.ln(0.8)
    pdf.line(MARGIN, pdf.get_y(), MARGIN + WIDTH, pdf.get_y())
    pdf.ln(1)
    for caution in cautions:
        _write(pdf, caution, 7.5)
