"""Marks to a PNG of one bit per pixel: one pixel is one dot of the printer."""

from __future__ import annotations

import zlib
from io import BytesIO

from PIL import Image, ImageDraw

from msdtrack.printing.code128 import MM_PER_INCH, bar_runs, module_dots
from msdtrack.printing.faces import face
from msdtrack.printing.marks import Bars, Box, Disc, Page, Text

_BLACK, _WHITE = 0, 1
_SMALLEST_FACE_PX = 4
_ANCHORS = {"left": "ls", "center": "ms", "right": "rs"}


def page_png(page: Page, dpi: int) -> bytes:
    """Return the page as a black and white PNG that carries its resolution.

    Args:
        page: What to paint.
        dpi: Dots per inch of the printer, one of `code128.DPIS`.

    Raises:
        BadInput: Labels are not made for this resolution.
    """
    module_dots(dpi)
    canvas = _Canvas(page, dpi)
    for mark in page.marks:
        if isinstance(mark, Bars):
            canvas.bars(mark)
        elif isinstance(mark, Text):
            canvas.text(mark)
        elif isinstance(mark, Box):
            canvas.box(mark)
        else:
            canvas.disc(mark)
    out = BytesIO()
    # Run lengths suit bars and flat paper: smaller and faster than the default strategy.
    canvas.image.save(out, "PNG", dpi=(dpi, dpi), compress_type=zlib.Z_RLE)
    return out.getvalue()


class _Canvas:
    def __init__(self, page: Page, dpi: int) -> None:
        self.dpi = dpi
        size = (self.dots(page.width_mm), self.dots(page.height_mm))
        self.image = Image.new("1", size, _WHITE)
        self.draw = ImageDraw.Draw(self.image)

    def dots(self, mm: float) -> int:
        return round(mm * self.dpi / MM_PER_INCH)

    def bars(self, mark: Bars) -> None:
        module = module_dots(self.dpi, mark.module_mm)
        left, top = self.dots(mark.x_mm), self.dots(mark.y_mm)
        bottom = self.dots(mark.y_mm + mark.height_mm) - 1
        for start, width in bar_runs(mark.text):
            x = left + start * module
            self.draw.rectangle((x, top, x + width * module - 1, bottom), fill=_BLACK)

    def text(self, mark: Text) -> None:
        size_px = max(_SMALLEST_FACE_PX, int(mark.size_mm * self.dpi / MM_PER_INCH))
        # Hinting rounds letters to whole pixels, which can make small type wider than it was set.
        room_px = self.dots(mark.width_mm)
        while (
            size_px > _SMALLEST_FACE_PX and face(mark.bold, size_px).getlength(mark.text) > room_px
        ):
            size_px -= 1
        self.draw.text(
            (self.dots(mark.x_mm), self.dots(mark.y_mm)),
            mark.text,
            fill=_WHITE if mark.white else _BLACK,
            font=face(mark.bold, size_px),
            anchor=_ANCHORS[mark.align],
        )

    def box(self, mark: Box) -> None:
        left, top = self.dots(mark.x_mm), self.dots(mark.y_mm)
        right = max(left, self.dots(mark.x_mm + mark.width_mm) - 1)
        bottom = max(top, self.dots(mark.y_mm + mark.height_mm) - 1)
        if mark.line_mm is None:
            self.draw.rectangle((left, top, right, bottom), fill=_BLACK)
        else:
            line = max(1, self.dots(mark.line_mm))
            self.draw.rectangle((left, top, right, bottom), outline=_BLACK, width=line)

    def disc(self, mark: Disc) -> None:
        left, top = self.dots(mark.x_mm - mark.radius_mm), self.dots(mark.y_mm - mark.radius_mm)
        across = self.dots(2 * mark.radius_mm)
        around = (left, top, left + across, top + across)
        if mark.line_mm is None:
            self.draw.ellipse(around, fill=_BLACK)
        else:
            self.draw.ellipse(around, outline=_BLACK, width=max(1, self.dots(mark.line_mm)))
