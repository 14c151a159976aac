"""A printed page read back as a scanner would: pixels in, codes out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from io import BytesIO

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from msdtrack.printing.codes import make_code
from msdtrack.printing.label import LabelFacts, SignFacts

Decode = Callable[..., list[str]]


def _codes_in(image: Image.Image) -> list[str]:
    found = zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.Code128)
    return sorted(code.text for code in found)


@pytest.fixture(scope="session")
def decode_png() -> Decode:
    """Return the codes zxing-cpp reads from a PNG."""
    return lambda png: _codes_in(Image.open(BytesIO(png)).convert("L"))


@pytest.fixture(scope="session")
def decode_pdf() -> Decode:
    """Return the codes zxing-cpp reads from the pages of a PDF rasterised at a resolution."""

    def decode(pdf: bytes, dpi: int) -> list[str]:
        document = pypdfium2.PdfDocument(pdf)
        codes: list[str] = []
        for page in document:
            codes += _codes_in(page.render(scale=dpi / 72, grayscale=True).to_pil())
        document.close()
        return codes

    return decode


@pytest.fixture(scope="session")
def carrier_facts() -> LabelFacts:
    """Return the facts of an ordinary reel."""
    return LabelFacts(
        code=make_code("C", 123),
        msl="3",
        part="PRS-4471",
        lot="WB24-0917",
        quantity=2500,
        kind="reel",
        description="Pressure front end, 24 bit",
        floor_life_h=168,
        seal_date=date(2026, 1, 12),
        shelf_life_ends=date(2027, 1, 12),
        bake_line="40 °C, ≤ 5 % RH: 9 days",
        bag=make_code("B", 77),
        stuck_on="carrier",
    )


@pytest.fixture(scope="session")
def sign_facts() -> SignFacts:
    """Return the facts of a dry cabinet's sign."""
    return SignFacts(code=make_code("P", 4), title="Dry cabinet 2", detail="Dry storage, ≤ 5 % RH")
