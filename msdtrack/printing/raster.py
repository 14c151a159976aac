"""Marks to a PNG of one bit per pixel: one pixel is one dot of the printer."""

from __future__ import annotations

import struct
import zlib

from PIL import Image, ImageDraw

from msdtrack.printing.code128 import MM_PER_INCH, module_dots, symbol_modules
from msdtrack.printing.dots import Paper, box, down, set_line
from msdtrack.printing.marks import Bars, Box, Disc, Page, Text

_M_PER_INCH = MM_PER_INCH / 1000
# Rows of bars repeat and paper is flat: more effort makes no file smaller worth its time.
_EFFORT = 1


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
    return _png(canvas.paper, dpi)


class _Canvas:
    def __init__(self, page: Page, dpi: int) -> None:
        self.dpi = dpi
        self.paper = Paper(self.dots(page.width_mm), self.dots(page.height_mm))

    def dots(self, mm: float) -> int:
        return round(mm * self.dpi / MM_PER_INCH)

    def bars(self, mark: Bars) -> None:
        module = module_dots(self.dpi, mark.module_mm)
        dots = "".join(bit * module for bit in symbol_modules(mark.text))
        top = self.dots(mark.y_mm)
        rows = self.dots(mark.y_mm + mark.height_mm) - top
        pitch = self.paper.pitch
        row = int(dots, 2) << (pitch - len(dots))
        self.paper.ink(down(row, rows, pitch), self.dots(mark.x_mm), top, rows)

    def text(self, mark: Text) -> None:
        size_px = int(mark.size_mm * self.dpi / MM_PER_INCH)
        room_px = self.dots(mark.width_mm)
        line = set_line(mark.text, mark.bold, size_px, room_px, self.paper.pitch)
        before = {"left": 0, "center": line.width // 2, "right": line.width}[mark.align]
        left, top = self.dots(mark.x_mm) - before, self.dots(mark.y_mm) - line.above
        self.paper.ink(line.strip, left, top, line.rows, mark.white)

    def box(self, mark: Box) -> None:
        left, top = self.dots(mark.x_mm), self.dots(mark.y_mm)
        width = max(1, self.dots(mark.x_mm + mark.width_mm) - left)
        height = max(1, self.dots(mark.y_mm + mark.height_mm) - top)
        line = None if mark.line_mm is None else max(1, self.dots(mark.line_mm))
        self.paper.ink(box(width, height, line, self.paper.pitch), left, top, height)

    def disc(self, mark: Disc) -> None:
        left, top = self.dots(mark.x_mm - mark.radius_mm), self.dots(mark.y_mm - mark.radius_mm)
        across = self.dots(2 * mark.radius_mm)
        image = Image.new("1", (self.paper.pitch, across + 1), 0)
        painter, around = ImageDraw.Draw(image), (0, 0, across, across)
        if mark.line_mm is None:
            painter.ellipse(around, fill=1)
        else:
            painter.ellipse(around, outline=1, width=max(1, self.dots(mark.line_mm)))
        strip = int.from_bytes(image.tobytes(), "big")
        self.paper.ink(strip, left, top, image.height)


def _png(paper: Paper, dpi: int) -> bytes:
    """Return the file. Source: W3C Portable Network Graphics (ISO/IEC 15948), clauses 5 and 11."""
    grey_of_one_bit = struct.pack(">IIBBBBB", paper.width, paper.height, 1, 0, 0, 0, 0)
    per_m = round(dpi / _M_PER_INCH)
    return b"".join(
        (
            b"\x89PNG\r\n\x1a\n",
            _chunk(b"IHDR", grey_of_one_bit),
            _chunk(b"pHYs", struct.pack(">IIB", per_m, per_m, 1)),
            _chunk(b"IDAT", zlib.compress(paper.rows(), _EFFORT)),
            _chunk(b"IEND", b""),
        )
    )


def _chunk(kind: bytes, data: bytes) -> bytes:
    body = kind + data
    return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))
