"""The type that ships with the package, and how wide text set in it is.

Widths are those of the unhinted font, so that PNG and PDF are set alike at every resolution.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from PIL import ImageFont

from msdtrack.resources import resource_dir

CAP_EM = 0.729
"""Height of a capital letter, in em (DejaVu Sans Condensed 2.37)."""

LINE_EM = 1.2
"""Height of a line that keeps accents and descenders inside, in em."""

MM_PER_PT = 25.4 / 72

_FILES = {False: "DejaVuSansCondensed.ttf", True: "DejaVuSansCondensed-Bold.ttf"}
_UNITS_PER_EM = 2048


def face_file(bold: bool) -> Path:
    """Return the font file of the regular or the bold face."""
    return resource_dir("labels") / "fonts" / _FILES[bold]


@lru_cache(maxsize=64)
def face(bold: bool, size_px: int) -> ImageFont.FreeTypeFont:
    """Return a face for painting, `size_px` pixels to the em."""
    return ImageFont.truetype(str(face_file(bold)), size_px, layout_engine=ImageFont.Layout.BASIC)


@lru_cache(maxsize=2048)
def _advance_em(character: str, bold: bool) -> float:
    return face(bold, _UNITS_PER_EM).getlength(character) / _UNITS_PER_EM


@lru_cache(maxsize=1024)
def text_width_em(text: str, bold: bool) -> float:
    """Return the width of a line of text, in em."""
    return sum(_advance_em(character, bold) for character in text)
