"""Marks as operators of a PDF page, in dots of the printer from the lower left corner.

Each command draws one thing in black, white text excepted, and needs nothing from those before it,
so that commands that do not cover each other may stand in any order and apart.

Source: ISO 32000-1:2008, annex A (operator summary).
"""

from __future__ import annotations

from collections.abc import Mapping

from fpdf.fonts import TTFFont

from msdtrack.printing.code128 import MM_PER_INCH, bar_runs, module_dots
from msdtrack.printing.faces import text_width_em
from msdtrack.printing.marks import Bars, Box, Disc, Mark, Text

# Length of the handles of a cubic curve that is a quarter of a circle of radius 1.
_HANDLE = 0.5523


class Pen:
    """Draws marks of a page.

    Args:
        dpi: Resolution of the printer; bars and text start on its dots.
        height_mm: Height of the page.
        fonts: The font for text that is not bold, and for text that is.
    """

    def __init__(self, dpi: int, height_mm: float, fonts: Mapping[bool, TTFFont]) -> None:
        self._dpi = dpi
        self._dots_per_mm = dpi / MM_PER_INCH
        self._height_mm = height_mm
        self._fonts = fonts

    def commands(self, mark: Mark) -> list[str]:
        """Return what draws a mark: one command, or one for every bar."""
        if isinstance(mark, Bars):
            return self._bars(mark)
        if isinstance(mark, Text):
            return [self._text(mark)]
        if isinstance(mark, Box):
            return [self._box(mark)]
        return [self._disc(mark)]

    def _across(self, x_mm: float) -> float:
        return x_mm * self._dots_per_mm

    def _up(self, y_mm: float) -> float:
        return (self._height_mm - y_mm) * self._dots_per_mm

    def _bars(self, mark: Bars) -> list[str]:
        module = module_dots(self._dpi, mark.module_mm)
        left, bottom = round(self._across(mark.x_mm)), round(self._up(mark.y_mm + mark.height_mm))
        height = round(self._up(mark.y_mm)) - bottom
        return [
            f"{left + start * module} {bottom} {width * module} {height} re f"
            for start, width in bar_runs(mark.text)
        ]

    def _text(self, mark: Text) -> str:
        font, size = self._fonts[mark.bold], self._across(mark.size_mm)
        width = text_width_em(mark.text, mark.bold) * size
        before = {"left": 0.0, "center": width / 2, "right": width}[mark.align]
        left, baseline = round(self._across(mark.x_mm) - before), round(self._up(mark.y_mm))
        place = f"/F{font.i} {size:.1f} Tf {left} {baseline} Td"
        shown = f"BT {place} {font.encode_text(mark.text)} ET"
        return f"1 g {shown} 0 g" if mark.white else shown

    def _box(self, mark: Box) -> str:
        # PDF strokes the middle of a line; the outline shall stay inside the box as in the PNG.
        line_mm = mark.line_mm or 0.0
        sides = (
            self._across(mark.x_mm + line_mm / 2),
            self._up(mark.y_mm + mark.height_mm - line_mm / 2),
            self._across(mark.width_mm - line_mm),
            self._across(mark.height_mm - line_mm),
        )
        return _painted(f"{_numbers(*sides)} re", self._across(line_mm))

    def _disc(self, mark: Disc) -> str:
        line_mm = mark.line_mm or 0.0
        x, y = self._across(mark.x_mm), self._up(mark.y_mm)
        r = self._across(mark.radius_mm - line_mm / 2)
        path = [f"{_numbers(x + r, y)} m"]
        # Each quarter runs from the direction (u, v) to the one a right angle further.
        for u, v in ((1, 0), (0, 1), (-1, 0), (0, -1)):
            out = (x + r * (u - v * _HANDLE), y + r * (v + u * _HANDLE))
            back = (x + r * (u * _HANDLE - v), y + r * (v * _HANDLE + u))
            path.append(f"{_numbers(*out, *back, x - r * v, y + r * u)} c")
        return _painted(" ".join(path), self._across(line_mm))


def _painted(path: str, line: float) -> str:
    return f"{_numbers(line)} w {path} S" if line else f"{path} f"


def _numbers(*values: float) -> str:
    return " ".join(f"{value:.1f}" for value in values)
