"""The action card: every action once, every code decodes, cautions beside the bakes."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pypdfium2
import pytest

from msdtrack.printing.card import CardDesign, card_pages, card_pdf
from msdtrack.printing.code128 import DPIS, module_size_mm
from msdtrack.printing.codes import ACTIONS, make_action_code
from msdtrack.printing.marks import Bars
from msdtrack.printing.raster import page_png

Decode = Callable[..., list[str]]
ALL_CODES = sorted(make_action_code(name) for name in ACTIONS)


@pytest.mark.parametrize("dpi", DPIS)
def test_every_action_decodes_from_png(dpi: int, decode_png: Decode) -> None:
    found = [code for page in card_pages() for code in decode_png(page_png(page, dpi))]
    assert sorted(found) == ALL_CODES


@pytest.mark.parametrize("dpi", DPIS)
def test_every_action_decodes_from_pdf(dpi: int, decode_pdf: Decode) -> None:
    assert sorted(decode_pdf(card_pdf(), dpi)) == ALL_CODES


def test_no_scan_line_can_catch_two_codes() -> None:
    for page in card_pages():
        bars = sorted((mark for mark in page.marks if isinstance(mark, Bars)), key=lambda b: b.y_mm)
        for upper, lower in pairwise(bars):
            assert lower.y_mm - (upper.y_mm + upper.height_mm) >= 10


def test_card_modules_are_wide_enough_for_worn_paper() -> None:
    for page in card_pages():
        for mark in page.marks:
            if isinstance(mark, Bars):
                assert all(module_size_mm(dpi, mark.module_mm) > 0.3749 for dpi in DPIS)


def test_card_prints_titles_instructions_spots_and_cautions() -> None:
    document = pypdfium2.PdfDocument(card_pdf())
    pages = [page.get_textpage().get_text_range() for page in document]
    sizes = [page.get_size() for page in document]
    document.close()
    text = " ".join(" ".join(pages).split())
    for action in ACTIONS.values():
        assert action.title in text
        assert action.instruction in text
    baking = next(page for page in pages if "Start bake at 125 °C" in page)
    for words in ("CAUTION", "Hot surfaces", "melt", "out of the dry bag", "Nitrogen", "wrist"):
        assert words in baking
    assert text.count("The component maker's instructions") == len(pages)
    spots = next(page for page in pages if "All spots dry" in page)
    assert spots.count("humid") >= 6
    assert all(s == pytest.approx((595.28, 841.89), abs=0.1) for s in sizes)


def test_the_card_is_the_same_every_time() -> None:
    assert card_pdf() == card_pdf()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda names: names[1:], "actions missing"),
        (lambda names: [*names, "FLY"], "actions unknown: FLY"),
        (lambda names: [*names, names[0]], "actions named twice"),
    ],
)
def test_a_card_file_must_name_every_action_once(
    change: Callable[[list[str]], list[str]], words: str
) -> None:
    names = change(list(ACTIONS))
    with pytest.raises(ValueError, match=words):
        CardDesign.model_validate(
            {
                "title": "Card",
                "intro": "",
                "foot": "",
                "module_mm": 0.375,
                "row_mm": 21,
                "bars_height_mm": 11,
                "page": [{"group": [{"heading": "All", "actions": names}]}],
            }
        )
