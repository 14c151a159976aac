"""What is put on paper: a page is a size and a list of marks, painted alike as PNG and PDF.

All positions and sizes are mm from the top left corner of the page.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Align = Literal["left", "center", "right"]


@dataclass(frozen=True, slots=True)
class Bars:
    """A Code 128 symbol; its first bar stands at `x_mm`, white margins are outside.

    Attributes:
        x_mm: Left edge of the first bar.
        y_mm: Top edge.
        height_mm: Height of the bars.
        text: The code.
        module_mm: The narrowest module wanted; printed on whole dots at least this wide.
    """

    x_mm: float
    y_mm: float
    height_mm: float
    text: str
    module_mm: float


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text.

    Attributes:
        x_mm: Left, middle or right end of the line, by `align`.
        y_mm: Its baseline.
        size_mm: One em.
        width_mm: What it may take at most; it was fitted to this.
        text: The words.
        bold: Bold face.
        align: Which end of the line `x_mm` is.
        white: White on a filled shape.
    """

    x_mm: float
    y_mm: float
    size_mm: float
    width_mm: float
    text: str
    bold: bool = False
    align: Align = "left"
    white: bool = False


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle: an outline `line_mm` thick, or filled if `line_mm` is None."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    line_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle about (`x_mm`, `y_mm`): an outline `line_mm` thick, or filled if it is None."""

    x_mm: float
    y_mm: float
    radius_mm: float
    line_mm: float | None = None


Mark = Bars | Text | Box | Disc


@dataclass(frozen=True, slots=True)
class Page:
    """A page or label of `width_mm` x `height_mm` with its marks, most needed first."""

    width_mm: float
    height_mm: float
    marks: tuple[Mark, ...]


def moved(mark: Mark, dx_mm: float, dy_mm: float) -> Mark:
    """Return the mark shifted to the right and down."""
    return replace(mark, x_mm=mark.x_mm + dx_mm, y_mm=mark.y_mm + dy_mm)
