"""Places: readings by hand and from files, what is refused and why, settings from a date on."""

from __future__ import annotations

from io import BytesIO

import pytest
from flask.testing import FlaskClient

from msdtrack.services import catalog, climate
from tests.web.conftest import NOW
from tests.web.workshop import Workshop


def test_a_reading_by_hand_is_taken(browser: FlaskClient, shop: Workshop) -> None:
    """A decimal comma is understood; without a time it is now."""
    answer = browser.post(
        f"/places/{shop.bench}/reading", data={"temp_c": "26,5", "rh_pct": "58", "at": ""}
    )
    assert answer.status_code == 303
    air = climate.air_now(shop.bench, NOW)
    assert (air.temp_c, air.rh_pct, air.at) == (26.5, 58.0, NOW)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"temp_c": "", "rh_pct": "50"}, "Fill this in"),
        ({"temp_c": "warm", "rh_pct": "50"}, "is no number"),
        ({"temp_c": "nan", "rh_pct": "50"}, "Not a number"),
        ({"temp_c": "25", "rh_pct": "140"}, "outside 0 to 100"),
        ({"temp_c": "25", "rh_pct": ""}, "may lack the humidity"),
        ({"temp_c": "25", "rh_pct": "50", "at": "2026-05-15T12:00"}, "ahead of the server"),
    ],
)
def test_a_wrong_reading_is_refused_in_words(
    sent: dict[str, str], words: str, browser: FlaskClient, shop: Workshop
) -> None:
    """Nothing is stored, and the form says why."""
    answer = browser.post(f"/places/{shop.bench}/reading", data=sent)
    assert answer.status_code == 422
    assert words in answer.text
    assert climate.air_now(shop.bench, NOW).at is None


def test_a_file_is_taken_and_refused_rows_are_listed(browser: FlaskClient, shop: Workshop) -> None:
    """Good rows are kept; each other one is named with its line and the reason."""
    text = (
        "place;at;temp_c;rh_pct\n"
        "Bench;2026-05-14 12:00;25,5;51\n"
        "Bench;2026-05-14 12:05;25,6;151\n"
        "Attic;2026-05-14 12:10;25,6;51\n"
        "Bench;2026-05-14 12:00;25,5;51\n"
    )
    answer = browser.post(
        f"/places/{shop.bench}/file", data={"file": (BytesIO(text.encode()), "day.csv")}
    )
    assert answer.status_code == 200
    assert "1 taken, 1 were on record already, 2 refused" in answer.text
    assert '<td class="number">3</td><td>rh_pct: 151 % is outside 0 to 100' in answer.text
    assert '<td class="number">4</td><td>there is no place &#39;Attic&#39;' in answer.text
    assert climate.air_now(shop.bench, NOW).temp_c == 25.5


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "The file is empty"),
        (b"time,value\n1,2\n", "The first line must be"),
        ("place,at,temp_c,rh_pct\n".encode("utf-16"), "no UTF-8 text"),
    ],
)
def test_what_is_no_file_of_readings_is_refused(
    content: bytes, words: str, browser: FlaskClient, shop: Workshop
) -> None:
    """The page says what the file should be like."""
    answer = browser.post(
        f"/places/{shop.bench}/file", data={"file": (BytesIO(content), "day.csv")}
    )
    assert answer.status_code == 422
    assert words in answer.text


def test_no_file_at_all_is_said(browser: FlaskClient, shop: Workshop) -> None:
    """The button without a file asks for one."""
    answer = browser.post(f"/places/{shop.bench}/file", data={})
    assert answer.status_code == 422
    assert "Choose a file first" in answer.text


def test_a_place_is_put_on_file_and_changed(browser: FlaskClient, shop: Workshop) -> None:
    """Its settings can be given with decimal commas; a change needs a name and a reason."""
    answer = browser.post(
        "/places/new", data={"name": "Attic", "kind": "store", "assumed_temp_c": "28,5"}
    )
    assert answer.status_code == 303
    code = answer.headers["Location"].rsplit("/", 1)[1]
    assert catalog.place(code).assumed_temp_c == 28.5
    change = {"name": "Attic store", "kind": "store", "assumed_temp_c": "29"}
    assert browser.post(f"/places/{code}/change", data=change).status_code == 422
    done = browser.post(
        f"/places/{code}/change",
        data=change | {"person": shop.people[0], "reason": "summer"},
    )
    assert done.status_code == 303
    assert (catalog.place(code).name, catalog.place(code).assumed_temp_c) == ("Attic store", 29.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [({"name": ""}, "Fill this in"), ({"kind": "roof"}, "Choose one of the list"),
     ({"assumed_rh_pct": "200"}, "100 % RH or less")],
)  # fmt: skip
def test_a_wrong_place_is_refused(
    change: dict[str, str], words: str, browser: FlaskClient, shop: Workshop
) -> None:
    """The form comes back with the finding."""
    answer = browser.post("/places/new", data={"name": "Attic", "kind": "store"} | change)
    assert answer.status_code == 422
    assert words in answer.text


def test_signs_of_all_places_or_of_one(browser: FlaskClient, shop: Workshop) -> None:
    """Both come as PDF."""
    for data in ({}, {"code": shop.line}):
        answer = browser.post("/places/signs", data=data)
        assert answer.data.startswith(b"%PDF")


def test_a_chart_names_its_range(browser: FlaskClient, shop: Workshop) -> None:
    """The charts are described in words too."""
    text = browser.get(f"/places/{shop.line}").text
    assert 'aria-label="24.5 to 24.5 °C, now 24.5 °C."' in text
    assert "No reading in the last 48 hours" in browser.get(f"/places/{shop.bench}").text
