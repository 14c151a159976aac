"""Receiving: from the form to the label, and the next carrier of the same lot."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from msdtrack.services import receiving
from tests.web.workshop import Workshop

GOOD = {
    "part": "WB-PRS-3",
    "lot": "T-7",
    "quantity": "250",
    "kind": "reel",
    "bag_state": "sealed",
    "sealed_on": "2026-04-01",
    "request_id": "7a3c1f7e-6d3c-4a52-9d0e-0f3e6a1c2b11",
}


def test_a_carrier_is_received_and_its_label_offered(browser: FlaskClient, shop: Workshop) -> None:
    """The form leads to the label, and from there to another one of the lot."""
    answer = browser.post("/receive", data=GOOD | {"place": shop.store})
    assert answer.status_code == 303
    page = browser.get(answer.headers["Location"])
    code = re.search(r"C\w{7}", answer.headers["Location"])
    assert code is not None
    facts = receiving.carrier_facts(code[0])
    assert (facts.lot, facts.quantity, facts.place) == ("T-7", 250, shop.store)
    assert f"/receive?like={code[0]}" in page.text
    again = browser.get(f"/receive?like={code[0]}").text
    assert 'value="T-7"' in again
    assert 'value="2026-04-01"' in again


def test_a_form_sent_twice_makes_one_carrier(browser: FlaskClient, shop: Workshop) -> None:
    """A second press of the button leads to the same carrier."""
    first = browser.post("/receive", data=GOOD)
    assert browser.post("/receive", data=GOOD).headers["Location"] == first.headers["Location"]
    assert len(receiving.carriers(lot="T-7")) == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"part": "NONE"}, "No part NONE"),
        ({"part": ""}, "Fill this in"),
        ({"lot": ""}, "Fill this in"),
        ({"quantity": "0"}, "At least 1"),
        ({"quantity": "many"}, "is no whole number"),
        ({"sealed_on": ""}, "Give the seal date"),
        ({"sealed_on": "2027-01-01"}, "seal date can&#39;t lie ahead"),
        ({"sealed_on": "soon"}, "is no day like"),
        ({"bag_state": "open"}, "Say since when"),
        ({"shelf_life_ends": "2026-03-01"}, "end before the seal date"),
        ({"kind": "box"}, "Choose one of the list"),
        ({"body_mm": "-1"}, "At least 0"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(
    change: dict[str, str], words: str, browser: FlaskClient, shop: Workshop
) -> None:
    """Nothing is received, what was typed stays, the finding is in words."""
    answer = browser.post("/receive", data=GOOD | change)
    assert answer.status_code == 422
    assert words in answer.text
    assert 'aria-invalid="true"' in answer.text
    if "lot" not in change:
        assert 'value="T-7"' in answer.text
    assert receiving.carriers(lot="T-7") == []


def test_without_a_seal_date_its_history_is_unknown(browser: FlaskClient, shop: Workshop) -> None:
    """A date that stands in the form does not count when the bag is said to be unknown."""
    answer = browser.post("/receive", data=GOOD | {"bag_state": "unknown"})
    code = answer.headers["Location"].rsplit("/", 1)[1]
    assert receiving.carrier_facts(code).sealed_on is None
    assert "Do not use" in browser.get(f"/carriers/{code}").text


def test_one_that_came_open_is_exposed_since(browser: FlaskClient, shop: Workshop) -> None:
    """The time it was opened counts as exposure from then on."""
    answer = browser.post(
        "/receive", data=GOOD | {"bag_state": "open", "opened_at": "2026-05-14T11:00",
                                 "received_at": "2026-05-14T09:00"},
    )  # fmt: skip
    code = answer.headers["Location"].rsplit("/", 1)[1]
    text = browser.get(f"/carriers/{code}").text
    assert "exposed" in text
    assert "Thu 14 May 11:00" in text


def test_a_part_is_put_on_file_on_the_way(browser: FlaskClient, shop: Workshop) -> None:
    """A new part leads back to the receiving form with the part filled in."""
    answer = browser.post(
        "/parts/new", data={"number": "WB-GPS-4", "msl": "4", "body_mm": "1,2", "then": "receive"}
    )
    assert answer.headers["Location"].endswith("/receive?part=WB-GPS-4")
    assert 'value="WB-GPS-4"' in browser.get(answer.headers["Location"]).text
    assert "1.20 mm" in browser.get("/parts/WB-GPS-4").text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"number": ""}, "Fill this in"),
        ({"msl": "7"}, "Choose one of the list"),
        ({"body_mm": "thick"}, "is no number"),
        ({"body_mm": "inf"}, "Not a number"),
        ({"pins": "9" * 500}, "At most 15 digits"),
        ({"bake_temp_c": "100"}, "A bake needs its hours"),
        ({"bake_hours": "5"}, "A bake needs its temperature"),
        ({"number": "WB-PRS-3", "body_mm": "3"}, "is on file with other facts"),
    ],
)
def test_a_part_with_wrong_facts_is_not_taken(
    change: dict[str, str], words: str, browser: FlaskClient, shop: Workshop
) -> None:
    """The form comes back with what was typed and what is wrong."""
    answer = browser.post("/parts/new", data={"number": "WB-NEW", "msl": "3"} | change)
    assert answer.status_code == 422
    assert words in answer.text
    assert browser.get("/parts/WB-NEW").status_code == 404


def test_a_part_is_corrected_with_name_and_reason(browser: FlaskClient, shop: Workshop) -> None:
    """The form shows the facts as they are; what is changed holds for every carrier."""
    form = browser.get("/parts/WB-CND-5/correct").text
    assert 'value="140"' in form
    data = {"msl": "5a", "body_mm": "2.0", "description": "x", "person": shop.people[0]}
    refused = browser.post("/parts/WB-CND-5/correct", data=data)
    assert refused.status_code == 422
    answer = browser.post("/parts/WB-CND-5/correct", data=data | {"reason": "data sheet"})
    assert answer.status_code == 303
    assert "level 5a" in browser.get(f"/carriers/{shop.drying}").text
