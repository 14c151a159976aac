"""Closing a bag: desiccant by the formula, shelf life by the rules, and a label that scans."""

from __future__ import annotations

from fractions import Fraction
from io import BytesIO
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp

from msdtrack.errors import BadInput, NotFound
from msdtrack.services import dry_packing, event_recording
from msdtrack.services.carrier_states import state
from msdtrack.services.dry_packing import NewPacking, packing, shelf_life
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import prints
from tests.services.conftest import NOW, receive

DRY = {"5": "dry", "10": "dry", "60": "dry"}
HUMID = {"5": "humid", "10": "humid", "60": "dry"}


def test_desiccant_of_a_bag_of_400_square_inches() -> None:
    """12 months, 0.02 g/100 in2/day, 400 in2, D = 2 g: 14.6 units, 15 in half units.

    Source: J-STD-033 (B.1) section 3, U = 0.304 M WVTR A / D; worked by hand. 254 mm x 508 mm are
    10 in x 20 in, two faces of 200 in2.
    """
    found = packing(NewPacking(254, 508, 0.02, 2))
    assert found.area_in2 == 400
    assert float(found.units) == pytest.approx(14.592)
    assert found.half_units == 15
    assert found.line == "15 units, bag 254 x 508 mm"


def test_half_a_unit_is_the_least() -> None:
    """Rounded up, never down."""
    found = packing(NewPacking(100, 100, 0.001, 2))
    assert found.half_units == Fraction(1, 2)
    assert found.line == "0.5 unit, bag 100 x 100 mm"


@pytest.mark.parametrize(
    ("new", "field"),
    [
        (NewPacking(0, 100, 0.02, 2), "width_mm"),
        (NewPacking(100, float("nan"), 0.02, 2), "length_mm"),
        (NewPacking(100, 100, 0.02, -1), "unit_g"),
        (NewPacking(100, 100, 0.02, 2, 0), "months"),
    ],
)
def test_what_can_not_be_is_named(new: NewPacking, field: str) -> None:
    """The field that is wrong."""
    with pytest.raises(BadInput) as caught:
        packing(new)
    assert [one.field for one in caught.value.errors] == [field]


def _opened(place: str, hic: dict[str, str] | None) -> str:
    code = receive(place).code
    event_recording.record([NewEvent(str(uuid4()), code, "open", NOW - 600, hic=hic)], NOW)
    return code


def test_a_new_shelf_life_needs_a_good_card(shop: dict[str, str]) -> None:
    """With a good one: twelve months from today; else the earlier end stands."""
    good = shelf_life(state(_opened(shop["Bench"], DRY), NOW))
    assert (str(good.ends), good.is_new) == ("2027-09-21", True)
    bad = shelf_life(state(_opened(shop["Bench"], HUMID), NOW))
    assert (str(bad.ends), bad.is_new) == ("2027-06-01", False)


def test_the_closing_label_says_the_desiccant_and_scans(shop: dict[str, str]) -> None:
    """Its code is read back, and its words are those of the bag that is being closed."""
    code = _opened(shop["Bench"], DRY)
    what = packing(NewPacking(254, 508, 0.02, 2))
    pdf = pypdfium2.PdfDocument(BytesIO(dry_packing.closing_labels_pdf([code], what, NOW, "Ines")))
    text = pdf[0].get_textpage().get_text_range()
    image = pdf[0].render(scale=300 / 72, grayscale=True).to_pil()
    pdf.close()
    assert [one.text for one in zxingcpp.read_barcodes(image)] == [code]
    for words in ("15 units, bag 254 x 508 mm", "2026-09-21", "2027-09-21", "BAG"):
        assert words in text
    assert [one.layout for one in prints.prints(code)] == ["closing"]
    with pytest.raises(NotFound):
        dry_packing.closing_labels_pdf(["C000999X"], what, NOW)
    with pytest.raises(BadInput):
        dry_packing.closing_labels_pdf([], what, NOW)


def test_the_closing_label_of_a_bag_whose_card_was_not_read_keeps_its_seal_date(
    shop: dict[str, str],
) -> None:
    """Only after a good card a new shelf life begins. What is left of the floor life is on it, and
    does not run on in the new bag."""
    what = packing(NewPacking(254, 508, 0.02, 2))
    for card, sealed in ((DRY, "2026-09-21"), (None, "2026-06-01")):
        code = _opened(shop["Bench"], card)
        document = dry_packing.closing_labels_pdf([code], what, NOW)
        pdf = pypdfium2.PdfDocument(BytesIO(document))
        text = pdf[0].get_textpage().get_text_range()
        pdf.close()
        assert f"Sealed\r\n{sealed}" in text or f"Sealed {sealed}" in text
        assert "h left" in text
        assert "runs" not in text


def test_the_suppliers_bake_has_its_source(shop: dict[str, str]) -> None:
    """Level 3, 1.4 mm: 16 h at 125 °C, 8 h at 150 °C.

    Source: J-STD-033 (D), Table 4-2, as quoted in public.
    """
    found = dry_packing.supplier_bake("BL-0101")
    assert found.hours == ((125, 16), (150, 8))
    assert "Table 4-2" in found.source
    with pytest.raises(NotFound):
        dry_packing.supplier_bake("BL-9999")
