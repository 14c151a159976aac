"""Paper as dots of a printer, and lines of type as dots.

A strip of dots is one whole number: row after row from the top, `pitch` bits from row to row, the
leftmost dot the highest bit. Whole numbers are shifted and joined at the speed of memory. Rows
begin with eight bits that stay white, the filter byte of a PNG; a letter that reaches over the
edge of the paper ends in them.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from PIL import Image, ImageDraw

from msdtrack.printing.faces import face

_MARGIN = 8
_SMALLEST_PX = 4
# The font library lays a line a dot higher or lower by which letters are in it. Beside an H, which
# stands on the baseline, that does not matter; the spaces are for letters that reach back.
_BESIDE = "H    "


class Paper:
    """White paper to be inked.

    Args:
        width: In dots.
        height: In dots.
    """

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self._row_bytes = 1 + -(-width // 8)
        self._ink = 0

    @property
    def pitch(self) -> int:
        """Bits from row to row."""
        return 8 * self._row_bytes

    def ink(self, strip: int, x: int, y: int, rows: int, white: bool = False) -> None:
        """Ink a strip; what lies outside the paper is left out. It may reach over the paper's edge
        by the eight dots of the margin.

        Args:
            strip: Where ink goes.
            x: Where the strip's first dot is.
            y: Row of the strip's first.
            rows: How many it has.
            white: Take ink away instead.
        """
        if x >= self.width:
            return
        up = (self.height - y - rows) * self.pitch - _MARGIN - x
        strip = strip << up if up > 0 else strip >> -up
        self._ink = self._ink ^ (self._ink & strip) if white else self._ink | strip

    def rows(self) -> bytes:
        """Return all rows, each a zero byte and its dots; a bit is 1 where the paper is white."""
        blank = _blank(self._row_bytes, self.height)
        return (blank ^ (blank & self._ink)).to_bytes(self._row_bytes * self.height, "big")


@lru_cache(maxsize=16)
def _blank(row_bytes: int, height: int) -> int:
    return int.from_bytes((b"\0" + b"\xff" * (row_bytes - 1)) * height, "big")


def down(row: int, rows: int, pitch: int) -> int:
    """Return a strip with the same row many times."""
    strip, done = row, 1
    while done < rows:
        more = min(done, rows - done)
        strip |= strip << more * pitch
        done += more
    return strip


@lru_cache(maxsize=128)
def box(width: int, height: int, line: int | None, pitch: int) -> int:
    """Return the strip of a rectangle: its outline, or all of it if there is no line."""
    full = ((1 << width) - 1) << (pitch - width)
    if line is None or 2 * line >= min(width, height):
        return down(full, height, pitch)
    inner = ((1 << width - 2 * line) - 1) << (pitch - width + line)
    sides = down(full ^ inner, height - 2 * line, pitch)
    edge = down(full, line, pitch)
    return ((edge << (height - 2 * line) * pitch) | sides) << line * pitch | edge


class Line(NamedTuple):
    """A line of type that begins in the first dot of its strip's rows.

    Attributes:
        strip: Its dots.
        width: How far the next letter would stand.
        rows: How many rows the strip has.
        above: How many of them are above the baseline.
    """

    strip: int
    width: int
    rows: int
    above: int


@lru_cache(maxsize=256)
def set_line(text: str, bold: bool, size_px: int, room_px: int, pitch: int) -> Line:
    """Return a line of type, `size_px` dots to the em or as much smaller as it needs to fit.

    Hinting rounds letters to whole dots, which can make small type wider than it was set.

    Args:
        text: The words.
        bold: Set in the bold face.
        size_px: One em, in dots.
        room_px: What it may take at most, in dots.
        pitch: Bits from row to row.
    """
    size_px = max(_SMALLEST_PX, size_px)
    while size_px > _SMALLEST_PX and _width(text, bold, size_px) > room_px:
        size_px -= 1
    strip = x = 0
    for character in text:
        strip |= _letter(character, bold, size_px, pitch) >> x
        x += _advance(character, bold, size_px)
    return Line(strip, x, *_rows(size_px))


def _width(text: str, bold: bool, size_px: int) -> int:
    return sum(_advance(character, bold, size_px) for character in text)


def _rows(size_px: int) -> tuple[int, int]:
    """Return how many rows a letter's strip has, and how many of them are above the baseline."""
    above = size_px + size_px // 2
    return above + size_px // 2, above


@lru_cache(maxsize=4096)
def _advance(character: str, bold: bool, size_px: int) -> int:
    return round(face(bold, size_px).getlength(character, mode="1"))


@lru_cache(maxsize=1024)
def _letter(character: str, bold: bool, size_px: int, pitch: int) -> int:
    """Return a letter's strip; what reaches back of its origin is at the end of the row before."""
    lead = round(face(bold, size_px).getlength(_BESIDE, mode="1"))
    back = size_px // 2
    image = Image.new("1", (lead + 3 * size_px, 4 * size_px), 0)
    painter = ImageDraw.Draw(image)
    painter.text(
        (0, 2 * size_px), _BESIDE + character, fill=1, font=face(bold, size_px), anchor="ls"
    )
    beside = image.crop((0, 0, lead - back, image.height)).getbbox()
    assert beside is not None
    rows, above = _rows(size_px)
    left, top = lead - back, beside[3] - above
    cell = image.crop((left, top, left + pitch, top + rows))
    return int.from_bytes(cell.tobytes(), "big") << back
