"""Closing a bag: desiccant, shelf life, and the label."""

from __future__ import annotations

from flask.testing import FlaskClient

from tests.web.workshop import Workshop

ASKED = {
    "size": "other",
    "width_mm": "254",
    "length_mm": "508",
    "wvtr": "0,02",
    "unit_g": "2",
    "months": "12",
}


def test_the_desiccant_is_computed(browser: FlaskClient, shop: Workshop) -> None:
    """400 in2, 0.02 g/100 in2/day, 12 months, 2 g: 14.6 units, 15 in half units.

    Source: J-STD-033 (B.1) section 3, U = 0.304 M WVTR A / D.
    """
    text = browser.get("/closing", query_string=ASKED).text
    assert "15 units" in text
    assert "14.59 units by the formula" in text
    assert "Print the closing label" not in text


def test_a_carrier_gets_its_shelf_life_and_label(browser: FlaskClient, shop: Workshop) -> None:
    """Opened ten minutes ago, its old desiccant may go back in; the label is a PDF."""
    text = browser.get("/closing", query_string={**ASKED, "carrier": shop.opened.lower()}).text
    assert "14 May 2027, new" in text
    assert "The old desiccant may go back in until 13:20" in text
    label = browser.post("/closing/label", data={**ASKED, "carrier": shop.opened})
    assert label.data.startswith(b"%PDF")
    closed = browser.get("/closing", query_string={**ASKED, "carrier": shop.closed}).text
    assert "Its bag is closed on record" in closed


def test_what_is_wrong_is_beside_its_field(browser: FlaskClient, shop: Workshop) -> None:
    """A misread carrier, a missing width, a word for a number."""
    for wrong, words in (
        ({"carrier": "C000001Z"}, "One character is wrong"),
        ({"width_mm": ""}, "Fill this in."),
        ({"unit_g": "two"}, "is no number"),
        ({"wvtr": "0"}, "Above 0"),
        ({"size": "huge"}, "Choose one of the list."),
        ({"carrier": shop.line}, "scan a carrier"),
    ):
        answer = browser.get("/closing", query_string={**ASKED, **wrong})
        assert answer.status_code == 422, wrong
        assert words in answer.text, wrong


def test_a_blank_page_asks_nothing_yet(browser: FlaskClient, shop: Workshop) -> None:
    """And finds no fault."""
    answer = browser.get("/closing")
    assert answer.status_code == 200
    assert "Fill this in." not in answer.text
