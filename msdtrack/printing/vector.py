"""Marks to a PDF at exact size: bars as rectangles, text as text in the embedded type."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from fpdf import FPDF, ViewerPreferences
from fpdf.fonts import TTFFont

from msdtrack.printing.code128 import MM_PER_INCH, bar_runs, module_size_mm
from msdtrack.printing.faces import MM_PER_PT, face_file, text_width_em
from msdtrack.printing.marks import Bars, Box, Disc, Page, Text

# The same label gives the same bytes whenever it is printed: when it was printed is on the log.
_CREATED_AT = datetime(2000, 1, 1, tzinfo=UTC)
_FAMILY = "label"


def pages_pdf(pages: Iterable[Page], dpi: int, title: str) -> bytes:
    """Return a PDF with one page for each, every one at its own size.

    Args:
        pages: What to draw, in order.
        dpi: Resolution of the printer the bars are laid out for, one of `code128.DPIS`; they stay
            vectors, and their edges fall on its dots.
        title: The document's title.

    Raises:
        BadInput: Labels are not made for this resolution.
    """
    module_size_mm(dpi)
    pdf = FPDF(unit="mm")
    pdf.set_creation_date(_CREATED_AT)
    pdf.set_title(title)
    pdf.set_lang("en")
    pdf.set_auto_page_break(False)
    # A reader that shrinks the page to its margins would take the bars off the printer's dots.
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None", display_doc_title=True)
    try:
        for bold in (False, True):
            pdf.add_font(_FAMILY, "B" if bold else "", str(face_file(bold)))
        for page in pages:
            _page(pdf, page, dpi)
        return bytes(pdf.output())
    finally:
        # The library leaves the font files open.
        for font in pdf.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()


def _page(pdf: FPDF, page: Page, dpi: int) -> None:
    pdf.add_page(format=(page.width_mm, page.height_mm))
    for mark in page.marks:
        if isinstance(mark, Bars):
            _bars(pdf, mark, dpi)
        elif isinstance(mark, Text):
            _text(pdf, mark)
        elif isinstance(mark, Box):
            _box(pdf, mark)
        else:
            _disc(pdf, mark)


def _bars(pdf: FPDF, mark: Bars, dpi: int) -> None:
    module = module_size_mm(dpi, mark.module_mm)
    dot = MM_PER_INCH / dpi
    left = round(mark.x_mm / dot) * dot
    for start, width in bar_runs(mark.text):
        pdf.rect(left + start * module, mark.y_mm, width * module, mark.height_mm, style="F")


def _text(pdf: FPDF, mark: Text) -> None:
    pdf.set_font(_FAMILY, "B" if mark.bold else "", mark.size_mm / MM_PER_PT)
    pdf.set_text_color(255 if mark.white else 0)
    width = text_width_em(mark.text, mark.bold) * mark.size_mm
    left = mark.x_mm - {"left": 0.0, "center": width / 2, "right": width}[mark.align]
    pdf.text(left, mark.y_mm, mark.text)


def _box(pdf: FPDF, mark: Box) -> None:
    if mark.line_mm is None:
        pdf.rect(mark.x_mm, mark.y_mm, mark.width_mm, mark.height_mm, style="F")
        return
    # PDF strokes the middle of a line; the outline shall stay inside the box as in the PNG.
    half = mark.line_mm / 2
    pdf.set_line_width(mark.line_mm)
    pdf.rect(
        mark.x_mm + half,
        mark.y_mm + half,
        mark.width_mm - mark.line_mm,
        mark.height_mm - mark.line_mm,
    )


def _disc(pdf: FPDF, mark: Disc) -> None:
    if mark.line_mm is None:
        pdf.circle(mark.x_mm, mark.y_mm, mark.radius_mm, style="F")
    else:
        pdf.set_line_width(mark.line_mm)
        pdf.circle(mark.x_mm, mark.y_mm, mark.radius_mm - mark.line_mm / 2)
