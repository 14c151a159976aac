"""Sheets: many labels on A4, each decodes, none is lost."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pypdfium2
import pytest

from msdtrack.errors import BadInput
from msdtrack.printing.code128 import DPIS
from msdtrack.printing.codes import make_code
from msdtrack.printing.label import LabelFacts, SignFacts
from msdtrack.printing.layouts import Layout, LayoutError
from msdtrack.printing.sheet import sheet_pdf

Decode = Callable[..., list[str]]


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize(
    ("layout", "kind", "count", "pages"),
    [("place", "P", 5, 2), ("badge", "W", 11, 2), ("62x29", "C", 28, 2), ("100x50", "C", 11, 2)],
)
def test_every_label_of_a_sheet_decodes(
    layout: str,
    kind: str,
    count: int,
    pages: int,
    dpi: int,
    decode_pdf: Decode,
    carrier_facts: LabelFacts,
    sign_facts: SignFacts,
) -> None:
    facts = sign_facts if kind in "PW" else carrier_facts
    codes = [make_code(kind, n) for n in range(1, count + 1)]
    pdf = sheet_pdf([replace(facts, code=code) for code in codes], layout)
    document = pypdfium2.PdfDocument(pdf)
    assert len(document) == pages
    assert sorted(document[0].get_size()) == pytest.approx([595.28, 841.89], abs=0.1)
    document.close()
    assert sorted(decode_pdf(pdf, dpi)) == sorted(codes)


def test_nothing_to_print_is_refused() -> None:
    with pytest.raises(BadInput, match="nothing to print"):
        sheet_pdf([], "place")


def test_a_layout_larger_than_the_sheet_is_refused(sign_facts: SignFacts) -> None:
    poster = Layout.model_validate(
        {
            "name": "poster",
            "title": "Poster",
            "draws": "sign",
            "width_mm": 400,
            "height_mm": 300,
            "field": [{"kind": "bars", "x_mm": 0, "y_mm": 0, "width_mm": 90, "height_mm": 20}],
        }
    )
    with pytest.raises(LayoutError, match="too large for an A4 sheet"):
        sheet_pdf([sign_facts], poster)
