"""What an empty site says first, and goes on saying until the first carrier is in."""

from __future__ import annotations

from flask.testing import FlaskClient

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import catalog, people, receiving
from msdtrack.services.catalog import NewPlace
from msdtrack.services.receiving import NewCarrier
from tests.web.conftest import Clock


def test_the_first_steps_stay_until_the_first_carrier(
    browser: FlaskClient, wall_clock: Clock
) -> None:
    """Each step is marked once it is done; after the last one they make way for the day."""
    now = wall_clock()
    assert browser.get("/").text.count('mark-word">done') == 0
    people.add_person("Ines", now)
    assert browser.get("/").text.count('mark-word">done') == 1
    store, _ = catalog.create_place(NewPlace(name="Store", kind="store"), now)
    text = browser.get("/").text
    assert text.count('mark-word">done') == 2
    assert "Begin here" in text
    assert "The air now" in text
    catalog.create_part(PartFacts(number="WB-1", msl="3", body_mm=1.4), now)
    assert browser.get("/").text.count('mark-word">done') == 3
    receiving.receive(
        NewCarrier(part="WB-1", lot="A", quantity=10, kind="reel", place=store.code), now
    )
    assert "Begin here" not in browser.get("/").text


def test_an_empty_list_says_what_to_do_first(browser: FlaskClient) -> None:
    """A place to count is put on file first; an empty list of parts runs no script for finding."""
    assert "/places/new" in browser.get("/count").text
    assert "find.js" not in browser.get("/parts").text
    assert "No carrier is on hand." in browser.get("/carriers").text


def test_the_scanner_test_hears_at_once(browser: FlaskClient) -> None:
    """Its field has the focus; after a wrong name the name has it."""
    assert 'id="typed" autocomplete="off" autocapitalize="off" spellcheck="false" autofocus' in (
        browser.get("/setup").text
    )
    text = browser.post("/setup/people", data={"name": " "}).text
    assert text.count("autofocus") == 1
    assert 'spellcheck="false" autofocus' not in text


def test_no_level_is_guessed_for_a_new_part(browser: FlaskClient) -> None:
    """A number and Enter, as a scanner types it, must not put a part on file at some level."""
    form = browser.get("/parts/new").text
    assert '<option value="">choose</option>' in form
    assert "selected>3<" not in form
    answer = browser.post("/parts/new", data={"number": "WB-2", "msl": ""})
    assert answer.status_code == 422
    assert catalog.parts() == []


def test_a_name_is_given_once(browser: FlaskClient) -> None:
    """A form sent twice makes one place and one person; lists and files go by names."""
    for path, data in (
        ("/places/new", {"name": "Line 1", "kind": "line"}),
        ("/setup/people", {"name": "Ines"}),
    ):
        assert browser.post(path, data=data).status_code == 303
        again = browser.post(path, data=data | {"name": data["name"].upper()})
        assert again.status_code == 422
    (place,), (person,) = catalog.places(), people.people()
    assert (
        f"{place.code} is called so already"
        in browser.post("/places/new", data={"name": "line 1", "kind": "line"}).text
    )
    assert f"{person.code} is the badge of that name" in again.text


def test_words_that_found_no_lot_are_not_in_the_way_of_the_next_scan(browser: FlaskClient) -> None:
    """They stand above the answer; the scan field is empty again."""
    text = browser.get("/checks?search=C9").text
    assert "Lots with “C9”" in text
    assert 'value="C9"' not in text
