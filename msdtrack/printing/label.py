"""One label, sign or badge: its facts as PNG for a label printer or as PDF.

Carrier and bag get one label each: the same facts, `stuck_on` says which.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Literal

from msdtrack.errors import BadInput
from msdtrack.printing.compose import compose
from msdtrack.printing.layouts import Layout, LayoutError, load_layout
from msdtrack.printing.marks import Page
from msdtrack.printing.pdf import pages_pdf
from msdtrack.printing.raster import page_png
from msdtrack.standard import levels

_FLOOR_LIFE_WORDS = {8760.0: "1 year", 672.0: "4 weeks"}
_DAYS_FROM_H = 1000
_HOURS_A_DAY = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelFacts:
    """What a label of a carrier or its bag says.

    Attributes:
        code: The carrier's code.
        msl: Moisture sensitivity level, for example "3" or "5a".
        part: Part number.
        lot: Lot of the maker.
        quantity: How many components it was printed for.
        kind: "reel", "tray", "tube" or "strip".
        description: What the part is; may be shortened.
        floor_life_h: Allowed exposure in hours; infinite for level 1, None if only the maker's
            label says it (level 6).
        left_h: Whole hours of it that are left; None if all are.
        runs: Whether those hours go on running down as it is stored now.
        seal_date: When the dry bag was sealed that its shelf life counts from; None if not known.
        shelf_life_ends: Last day in the sealed bag; None if not known.
        bake_line: How to bake it, in a few words; None to leave it out.
        bag: The dry bag's own code; None to leave it out.
        stuck_on: Which of the two labels this is; None for neither word.
        desiccant: How much desiccant the bag holds; None to leave it out.
    """

    code: str
    msl: str
    part: str
    lot: str
    quantity: int
    kind: str
    description: str = ""
    floor_life_h: float | None = None
    left_h: int | None = None
    runs: bool = False
    seal_date: date | None = None
    shelf_life_ends: date | None = None
    bake_line: str | None = None
    bag: str | None = None
    stuck_on: Literal["bag", "carrier"] | None = None
    desiccant: str | None = None

    @property
    def draws(self) -> Literal["carrier"]:
        """The sort of layout it needs."""
        return "carrier"

    def words(self) -> dict[str, str]:
        """Return what is printed for each fact that is known."""
        temp_c, rh_pct = levels.condition(self.msl)
        air = f"≤ {temp_c} °C / {rh_pct} % RH"
        words = {
            "code": self.code,
            "msl": self.msl,
            "floor_life": floor_life_words(self.floor_life_h, self.left_h, self.runs),
            "floor_life_at": "" if self.floor_life_h is None else air,
            "part": self.part,
            "lot": self.lot,
            "quantity": f"{self.quantity} ({self.kind})",
            "seal_date": self.seal_date.isoformat() if self.seal_date else "not known",
            "shelf_life_ends": (
                self.shelf_life_ends.isoformat() if self.shelf_life_ends else "not known"
            ),
            "bake_line": self.bake_line or "",
            "description": self.description,
            "bag": self.bag or "",
            "stuck_on": (self.stuck_on or "").upper(),
            "desiccant": self.desiccant or "",
        }
        return {fact: text for fact, text in words.items() if text}


@dataclass(frozen=True, slots=True, kw_only=True)
class SignFacts:
    """What a sign of a place or a person's badge says.

    Attributes:
        code: The code of the place or person.
        title: Its name, printed large.
        detail: A line below: kind of place and its air, or the person's role.
    """

    code: str
    title: str
    detail: str = ""

    @property
    def draws(self) -> Literal["sign"]:
        """The sort of layout it needs."""
        return "sign"

    def words(self) -> dict[str, str]:
        """Return what is printed for each fact that is known."""
        words = {"code": self.code, "title": self.title, "detail": self.detail}
        return {fact: text for fact, text in words.items() if text}


def floor_life_words(
    floor_life_h: float | None, left_h: int | None = None, runs: bool = False
) -> str:
    """Return a floor life as a label prints it.

    Args:
        floor_life_h: Hours; infinite for no limit; None if the maker's label says it.
        left_h: Hours of it that are left, of a year written in days; None if all are.
        runs: Whether those go on running down, so that what is printed is soon too much.

    Source: the wording in years, weeks and hours is that of the floor life table of
        IPC/JEDEC J-STD-033D and J-STD-020 (level 2 one year, level 2a four weeks).
    """
    if floor_life_h is None:
        return "see maker's label"
    if math.isinf(floor_life_h):
        return "no limit"
    if left_h is not None:
        return _left_words(floor_life_h, left_h) + (", runs" if runs and left_h > 0 else "")
    return _FLOOR_LIFE_WORDS.get(floor_life_h, f"{floor_life_h:g} h")


def _left_words(floor_life_h: float, left_h: int) -> str:
    if left_h < 1:
        return "none left"
    if floor_life_h >= _DAYS_FROM_H and left_h >= _HOURS_A_DAY:
        return f"{left_h // _HOURS_A_DAY} d left"
    return f"{left_h} h left"


def label_page(facts: LabelFacts | SignFacts, layout: str | Layout) -> Page:
    """Return a label as a page of marks, to be painted or put on a sheet.

    Raises:
        LayoutError: There is no such layout, its file is wrong, or it is for another sort.
        DoesNotFit: A fact that must not be cut is too long for the layout.
    """
    design = load_layout(layout) if isinstance(layout, str) else layout
    if design.draws != facts.draws:
        raise LayoutError(
            f'The layout "{design.name}" draws a {design.draws} label, not a {facts.draws} label: '
            "choose another layout."
        )
    return compose(design, facts.words())


@lru_cache(maxsize=256)
def label_png(facts: LabelFacts | SignFacts, layout: str, dpi: int) -> bytes:
    """Return a label as a PNG of one bit per dot, with its resolution saved in it.

    A preview, and a reprint of what has not changed, paint nothing.

    Args:
        facts: What it says.
        layout: The name of a layout, for example "62x29".
        dpi: Resolution of the label printer: 203, 300 or 600.

    Raises:
        LayoutError: As for `label_page`.
        DoesNotFit: As for `label_page`.
        BadInput: Labels are not made for this resolution.
    """
    return page_png(label_page(facts, layout), dpi)


def label_pdf(labels: Sequence[LabelFacts | SignFacts], layout: str, dpi: int = 300) -> bytes:
    """Return a PDF with one label a page, each page as large as the label.

    Args:
        labels: What they say, at least one.
        layout: The name of a layout.
        dpi: Resolution of the label printer: 203, 300 or 600. Bars stay vectors; this lays their
            edges on its dots.

    Raises:
        LayoutError: As for `label_page`.
        DoesNotFit: As for `label_page`; nothing is printed then.
        BadInput: There are no labels, or labels are not made for this resolution.
    """
    if not labels:
        raise BadInput("There is nothing to print: name at least one code.")
    pages = [label_page(facts, layout) for facts in labels]
    return pages_pdf(pages, dpi, "Labels")
