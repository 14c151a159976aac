"""Marks to a PDF at exact size: bars as rectangles, text as text in the embedded type.

What pages have in common is stored once and every object is packed, so that a stack of labels is
little larger than what differs from label to label.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from functools import cache

from fpdf import FPDF, ViewerPreferences
from fpdf.fonts import TTFFont
from fpdf.output import OutputProducer, PDFPage
from fpdf.syntax import PDFArray, PDFContentStream

from msdtrack.printing.code128 import module_dots
from msdtrack.printing.faces import face_file
from msdtrack.printing.marks import Mark, Page, Text
from msdtrack.printing.operators import Pen
from msdtrack.printing.packed import packed

# The same label gives the same bytes whenever it is printed: when it was printed is on the log.
_CREATED_AT = datetime(2000, 1, 1, tzinfo=UTC)
_FAMILY = "label"
_PT_PER_INCH = 72
# What a stream of its own and a page's mention of it take, in letters of commands, which come
# down to about a third.
_STREAM_LETTERS, _MENTION_LETTERS = 300, 24

Group = tuple[Sequence[int], list[str]]
"""Pages, counted from 0, and the commands that each of them begins with."""


def pages_pdf(pages: Iterable[Page], dpi: int, title: str) -> bytes:
    """Return a PDF with one page for each, every one at its own size.

    Args:
        pages: What to draw, in order; at least one.
        dpi: Resolution of the printer it is laid out for, one of `code128.DPIS`. Bars stay
            vectors, and their edges fall on its dots.
        title: The document's title.

    Raises:
        BadInput: Labels are not made for this resolution.
    """
    module_dots(dpi)
    pages = list(pages)
    pdf = _Document(unit="mm", format=(pages[0].width_mm, pages[0].height_mm))
    pdf.set_creation_date(_CREATED_AT)
    pdf.set_title(title)
    pdf.set_lang("en")
    # A reader that shrinks the page to its margins would take the bars off the printer's dots.
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None", display_doc_title=True)
    pdf.single_resources_object = True
    pdf.allow_images_transparency = False
    try:
        pdf.draw(pages, dpi)
        return packed(bytes(pdf.output(output_producer_class=_Producer)))
    finally:
        # The library leaves the font files open.
        for font in pdf.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()


class _Document(FPDF):
    """A document whose pages begin with what they share with others."""

    groups: Sequence[Group] = ()

    def draw(self, pages: Sequence[Page], dpi: int) -> None:
        fonts = {bold: self._font(bold) for bold in (False, True)}

        @cache
        def commands(mark: Mark, height_mm: float) -> list[str]:
            return Pen(dpi, height_mm, fonts).commands(mark)

        drawn, white = [], False
        for page in pages:
            own = [command for mark in page.marks for command in commands(mark, page.height_mm)]
            covers = any(isinstance(mark, Text) and mark.white for mark in page.marks)
            # Black twice over is darker along its edges, so what is there twice is drawn once.
            drawn.append(own if covers else list(dict.fromkeys(own)))
            white |= covers
        # White covers what was drawn before it: such pages are left in their order.
        shared = [] if white else shared_commands(drawn)
        dots = f"{_PT_PER_INCH / dpi:.6f} 0 0 {_PT_PER_INCH / dpi:.6f} 0 0 cm"
        self.groups = [(range(len(pages)), [dots]), *shared]
        elsewhere: list[set[str]] = [set() for _ in pages]
        for numbers, group in shared:
            for number in numbers:
                elsewhere[number].update(group)
        for page, own, done in zip(pages, drawn, elsewhere, strict=True):
            self.add_page(format=(page.width_mm, page.height_mm))
            rest = "\n".join(command for command in own if command not in done)
            self.pages[self.page].contents = bytearray(rest, "latin-1")

    def _font(self, bold: bool) -> TTFFont:
        style = "B" if bold else ""
        self.add_font(_FAMILY, style, str(face_file(bold)))
        font = self.fonts[_FAMILY + style]
        assert isinstance(font, TTFFont)
        return font


def shared_commands(drawn: Sequence[Sequence[str]]) -> list[Group]:
    """Return what is worth storing once, by the pages that have it in common.

    Args:
        drawn: The commands of each page.
    """
    pages_with: dict[str, list[int]] = defaultdict(list)
    for number, commands in enumerate(drawn):
        for command in dict.fromkeys(commands):
            pages_with[command].append(number)
    groups: dict[tuple[int, ...], list[str]] = defaultdict(list)
    for command, numbers in pages_with.items():
        groups[tuple(numbers)].append(command)
    return [
        (numbers, commands)
        for numbers, commands in groups.items()
        if (len(numbers) - 1) * sum(map(len, commands))
        > _STREAM_LETTERS + _MENTION_LETTERS * len(numbers)
    ]


class _Producer(OutputProducer):
    """Puts the streams that pages share before the page's own.

    `FPDF.output` takes such a class, but its methods are not promised: `tests/printing` fails where
    a later fpdf2 calls them otherwise.
    """

    fpdf: _Document

    def _add_pages(self, _slice: slice = slice(0, None)) -> list[PDFPage]:
        pages = super()._add_pages(_slice)
        contents: list[list[PDFContentStream]] = [[] for _ in pages]
        for numbers, commands in self.fpdf.groups:
            stream = PDFContentStream("\n".join(commands).encode("latin-1"), compress=True)
            self._add_pdf_obj(stream)
            for number in numbers:
                contents[number].append(stream)
        for page, streams in zip(pages, contents, strict=True):
            page.contents = PDFArray([*streams, page.contents])  # type: ignore[assignment]
        return pages
