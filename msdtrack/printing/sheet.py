"""Labels, place signs and badges several to an A4 sheet, to be cut out by hand."""

from __future__ import annotations

from collections.abc import Sequence

from msdtrack.errors import BadInput
from msdtrack.printing.label import LabelFacts, SignFacts, label_page
from msdtrack.printing.layouts import Layout, LayoutError, load_layout
from msdtrack.printing.marks import Box, Mark, Page, moved
from msdtrack.printing.pdf import pages_pdf

A4_MM = (210.0, 297.0)
OFFICE_DPI = 600
"""What an office printer does; bars of sheets and cards are laid on its dots."""

_MARGIN_MM = 6.0
_CUT_LINE_MM = 0.1


def sheet_pdf(labels: Sequence[LabelFacts | SignFacts], layout: str | Layout) -> bytes:
    """Return a PDF of A4 sheets filled with labels of one layout, with cutting lines.

    Args:
        labels: What they say, at least one.
        layout: The name of a layout, for example "place" or "badge", or one already read.

    Raises:
        LayoutError: There is no such layout, it is for another sort, or too large for A4.
        DoesNotFit: A fact that must not be cut is too long for the layout.
        BadInput: There are no labels.
    """
    if not labels:
        raise BadInput("There is nothing to print: name at least one code.")
    design = load_layout(layout) if isinstance(layout, str) else layout
    width_mm, height_mm = max((A4_MM, A4_MM[::-1]), key=lambda size: _count(design, size))
    across, down = _grid(design, (width_mm, height_mm))
    if across * down == 0:
        raise LayoutError(
            f'The layout "{design.name}" is too large for an A4 sheet: print it on its own paper.'
        )
    left_mm = (width_mm - across * design.width_mm) / 2
    top_mm = (height_mm - down * design.height_mm) / 2
    sheets = []
    for first in range(0, len(labels), across * down):
        marks: list[Mark] = []
        for place, facts in enumerate(labels[first : first + across * down]):
            x_mm = left_mm + place % across * design.width_mm
            y_mm = top_mm + place // across * design.height_mm
            marks.append(Box(x_mm, y_mm, design.width_mm, design.height_mm, _CUT_LINE_MM))
            marks.extend(moved(mark, x_mm, y_mm) for mark in label_page(facts, design).marks)
        sheets.append(Page(width_mm, height_mm, tuple(marks)))
    return pages_pdf(sheets, OFFICE_DPI, design.title)


def _grid(design: Layout, size_mm: tuple[float, float]) -> tuple[int, int]:
    """Return how many labels fit across and down a sheet."""
    return (
        int((size_mm[0] - 2 * _MARGIN_MM) // design.width_mm),
        int((size_mm[1] - 2 * _MARGIN_MM) // design.height_mm),
    )


def _count(design: Layout, size_mm: tuple[float, float]) -> int:
    across, down = _grid(design, size_mm)
    return across * down
