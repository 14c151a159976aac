"""The action card: every action as bars with its title, its instruction and the cautions.

One code a line, with white between: a scanner aimed at one line cannot catch two codes.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Annotated

from pydantic import Field, model_validator

from msdtrack.printing.actions import ACTIONS, Action, Spot
from msdtrack.printing.code128 import NARROW_MODULE_MM, quiet_zone_mm, require_fit
from msdtrack.printing.codes import make_action_code
from msdtrack.printing.faces import CAP_EM, MM_PER_PT, text_width_em
from msdtrack.printing.layouts import LayoutError, Positive, Strict, read_design
from msdtrack.printing.marks import Bars, Box, Disc, Mark, Page, Text
from msdtrack.printing.pdf import pages_pdf
from msdtrack.printing.setting import wrap
from msdtrack.printing.sheet import A4_MM, OFFICE_DPI
from msdtrack.resources import resource_dir

_MARGIN_MM = 13.0
_BARS_WIDTH_MM = 89.0  # with the quiet zones, of which the left one lies in the page margin
_SPOT_RADIUS_MM = 4.6
_SPOTS_WIDTH_MM = 36.0
_LINE_MM = 0.3
_LEADING = 1.3


class CardGroup(Strict):
    """Actions under one heading, with a note beside it and the cautions printed above them."""

    heading: str
    note: str = ""
    actions: tuple[str, ...] = Field(strict=False)
    cautions: tuple[str, ...] = Field((), strict=False)


class CardPage(Strict):
    """The groups of one page."""

    groups: tuple[CardGroup, ...] = Field(alias="group", min_length=1, strict=False)


class CardDesign(Strict):
    """What `labels/cards/actions.toml` says; sizes in mm."""

    title: str
    intro: str
    foot: str
    module_mm: Annotated[float, Field(ge=NARROW_MODULE_MM)]
    row_mm: Positive
    bars_height_mm: Positive
    pages: tuple[CardPage, ...] = Field(alias="page", min_length=1, strict=False)

    @model_validator(mode="after")
    def _check_actions(self) -> CardDesign:
        named = [name for page in self.pages for group in page.groups for name in group.actions]
        unknown = sorted(set(named) - set(ACTIONS))
        missing = sorted(set(ACTIONS) - set(named))
        twice = sorted({name for name in named if named.count(name) > 1})
        for names, wrong in ((unknown, "unknown"), (missing, "missing"), (twice, "named twice")):
            if names:
                raise ValueError(f"actions {wrong}: {', '.join(names)}")
        return self


def card_pdf() -> bytes:
    """Return the action card as a PDF of A4 pages.

    Raises:
        LayoutError: The card's data file is wrong.
    """
    return pages_pdf(card_pages(), OFFICE_DPI, _design().title)


def card_pages() -> list[Page]:
    """Return the action card as pages of marks.

    Raises:
        LayoutError: The card's data file is wrong.
    """
    design = _design()
    return [_page(design, number) for number in range(1, len(design.pages) + 1)]


@lru_cache(maxsize=1)
def _design() -> CardDesign:
    return read_design(resource_dir("labels") / "cards" / "actions.toml", CardDesign)


def _page(design: CardDesign, number: int) -> Page:
    width_mm, height_mm = A4_MM
    right_mm = width_mm - _MARGIN_MM
    title = f"{design.title} {number} of {len(design.pages)}"
    marks: list[Mark] = [
        _line(title, _MARGIN_MM, 20, 20, bold=True),
        _line(design.intro, _MARGIN_MM, 26.5, 10),
        Box(_MARGIN_MM, 29.5, right_mm - _MARGIN_MM, 0.6),
    ]
    y_mm = 31.0
    for group in design.pages[number - 1].groups:
        marks.append(_line(group.heading, _MARGIN_MM, y_mm + 6, 12, bold=True))
        if group.note:
            heading_mm = text_width_em(group.heading, True) * 12 * MM_PER_PT
            marks.append(_line(group.note, _MARGIN_MM + heading_mm + 4, y_mm + 6, 9))
        y_mm += 9.5
        if group.cautions:
            marks += _cautions(group.cautions, y_mm)
            y_mm += 4.7 * len(group.cautions) + 7
        for name in group.actions:
            marks += _action(design, ACTIONS[name], y_mm)
            y_mm += design.row_mm
        marks.append(Box(_MARGIN_MM, y_mm - 2, right_mm - _MARGIN_MM, 0.2))
    marks.append(_line(design.foot, _MARGIN_MM, height_mm - 9, 7.5))
    if y_mm > height_mm - 12:
        raise LayoutError(
            f"actions.toml: page {number} is {y_mm - height_mm + 12:.0f} mm too long: move a group."
        )
    return Page(width_mm, height_mm, tuple(marks))


def _action(design: CardDesign, action: Action, y_mm: float) -> list[Mark]:
    code = make_action_code(action.name)
    require_fit(code, design.module_mm, _BARS_WIDTH_MM)
    bars_mm = _MARGIN_MM
    left_mm = _MARGIN_MM - quiet_zone_mm(design.module_mm) + _BARS_WIDTH_MM
    room_mm = A4_MM[0] - _MARGIN_MM - left_mm
    marks: list[Mark] = [
        Bars(bars_mm, y_mm, design.bars_height_mm, code, design.module_mm),
        _line(code, bars_mm, y_mm + design.bars_height_mm + 3.4, 7.5),
    ]
    if action.spots is not None:
        room_mm -= _SPOTS_WIDTH_MM
        marks += _spots(action.hic_spots() or {}, A4_MM[0] - _MARGIN_MM - _SPOTS_WIDTH_MM, y_mm)
    baseline_mm = y_mm + 4.2
    for size_pt, bold, words in ((13.0, True, action.title), (9.0, False, action.instruction)):
        em_mm = size_pt * MM_PER_PT
        for words_line in wrap(words, room_mm / em_mm, bold):
            marks.append(_line(words_line, left_mm, baseline_mm, size_pt, bold))
            baseline_mm += _LEADING * em_mm
        baseline_mm -= 0.4
    return marks


def _spots(spots: dict[str, Spot], x_mm: float, y_mm: float) -> list[Mark]:
    """Return the three spots: dry an open circle, humid a filled one, missing a question mark."""
    marks: list[Mark] = []
    for place, (rh_pct, spot) in enumerate(spots.items()):
        middle_mm = x_mm + 6 + 12 * place
        centre_mm = y_mm + _SPOT_RADIUS_MM
        humid = spot == "humid"
        marks.append(Disc(middle_mm, centre_mm, _SPOT_RADIUS_MM, None if humid else _LINE_MM))
        word = "?" if spot == "missing" else spot
        size_mm = (14 if spot == "missing" else 7) * MM_PER_PT
        baseline_mm = centre_mm + CAP_EM * size_mm / 2
        marks.append(Text(middle_mm, baseline_mm, size_mm, 8.6, word, humid, "center", white=humid))
        below_mm = centre_mm + _SPOT_RADIUS_MM + 3.6
        marks.append(Text(middle_mm, below_mm, 8 * MM_PER_PT, 11, f"{rh_pct} %", align="center"))
    return marks


def _cautions(cautions: tuple[str, ...], y_mm: float) -> list[Mark]:
    width_mm, height_mm = A4_MM[0] - 2 * _MARGIN_MM, 4.7 * len(cautions) + 3
    middle_mm, centre_mm = _MARGIN_MM + 14, y_mm + height_mm / 2
    marks: list[Mark] = [
        Box(_MARGIN_MM, y_mm, width_mm, height_mm, 0.5),
        Text(middle_mm, centre_mm + 3, 38 * MM_PER_PT, 24, "⚠", True, "center"),
        Text(middle_mm, centre_mm + 8.5, 10 * MM_PER_PT, 24, "CAUTION", True, "center"),
    ]
    for number, caution in enumerate(cautions):
        marks.append(_line(caution, _MARGIN_MM + 28, y_mm + 5 + 4.7 * number, 9))
    return marks


def _line(words: str, x_mm: float, y_mm: float, size_pt: float, bold: bool = False) -> Text:
    return Text(x_mm, y_mm, size_pt * MM_PER_PT, A4_MM[0] - _MARGIN_MM - x_mm, words, bold)
