"""End of shift: what is out, ticked off by scanning, and what was found open."""

from __future__ import annotations

import re
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient

from msdtrack.exposure.events import Kind
from msdtrack.printing.codes import make_action_code
from msdtrack.services import event_recording
from msdtrack.services.carrier_states import state
from tests.web.conftest import NOW
from tests.web.workshop import HOUR_S, Workshop


class Round:
    """The page of the end of shift: what its field gets, and what it says."""

    def __init__(self, browser: FlaskClient, place: str = "") -> None:
        self.browser = browser
        self.url = f"/shift?place={place}" if place else "/shift"
        self.text = browser.get(self.url).text

    def scan(self, *codes: str) -> str:
        """Scan codes one after the other; return the page after the last."""
        for code in codes:
            query = parse_qs(urlsplit(self.url).query)
            scan = re.search(r'name="scan" value="([^"]+)"', self.text)
            assert scan is not None
            sent = {name: query.get(name, [""])[0] for name in ("place", "asked", "opened")}
            answer = self.browser.post(
                "/shift/scan", data={**sent, "scan": scan[1], "code": ["", code]}
            )
            assert answer.status_code == 303, answer.text
            self.url = answer.headers["Location"]
            self.text = self.browser.get(self.url).text
        return self.text

    @property
    def listed(self) -> str:
        """Return the list of what is out."""
        return self.browser.get("/shift/data").text


@pytest.fixture
def tour(browser: FlaskClient, shop: Workshop) -> Round:
    """The page with nothing scanned yet."""
    return Round(browser)


def test_what_is_out_is_listed_with_where_it_goes(tour: Round, shop: Workshop) -> None:
    """The usable one to the cabinet, the expired one has no oven for a reel; closed ones are not
    out."""
    assert shop.usable in tour.listed
    assert shop.expired in tour.listed
    assert "Dry cabinet" not in tour.listed
    assert "Cabinet" in tour.listed
    assert shop.closed not in tour.listed
    assert shop.drying not in tour.listed


def test_carrier_then_place_ticks_it_off(tour: Round, shop: Workshop) -> None:
    """It leaves the list and stands under what was done here."""
    assert "To: Cabinet." in tour.scan(shop.usable)
    assert "Ticked off" in tour.scan(shop.cabinet)
    assert shop.usable not in tour.listed
    assert "Done here: 1" in tour.text
    assert state(shop.usable, NOW).ledger.place == shop.cabinet


def test_carrier_then_closing_ticks_it_off(tour: Round, shop: Workshop) -> None:
    """Everything fresh, heat seal."""
    text = tour.scan(shop.usable, make_action_code("CLOSEFRESH"))
    assert "Ticked off" in text
    assert state(shop.usable, NOW).status == "in_dry_bag"


def test_a_wrong_code_is_refused(tour: Round, shop: Workshop) -> None:
    """Nothing changes, and the words say what it was."""
    tour.scan(shop.usable)
    assert "Code not valid" in tour.scan("P000001Z")
    assert "Ticked off" in tour.scan(shop.cabinet)


def test_found_open_it_is_asked_when_and_where(tour: Round, shop: Workshop) -> None:
    """On record it is closed in the store: half an hour ago, at the line."""
    text = tour.scan(shop.closed)
    assert "When was it opened?" in text
    assert event_recording.log_of(shop.closed) == []
    assert "Where is it?" in tour.scan("3")
    text = tour.scan(shop.line)
    assert "Opening recorded" in text
    assert "All spots dry" in text
    now = state(shop.closed, NOW)
    assert (now.opened_at, now.ledger.place) == (NOW - 30 * 60, shop.line)
    assert now.conflicts == ()
    tour.scan(make_action_code("HICDRY"))
    assert state(shop.closed, NOW).verdict == "use"


def test_where_one_is_need_not_be_said_twice(browser: FlaskClient, shop: Workshop) -> None:
    """At the line, 12:05 local time; Lisbon is an hour ahead of UTC."""
    tour = Round(browser, shop.line)
    text = tour.scan(shop.closed, "12:05")
    assert "Opening recorded" in text
    assert state(shop.closed, NOW).opened_at == NOW - 55 * 60


def test_nobody_knows_is_said_with_what_it_means(browser: FlaskClient, shop: Workshop) -> None:
    """Exposed since it was last known closed: three weeks ago."""
    tour = Round(browser, shop.line)
    text = tour.scan(shop.closed, "5")
    assert "nobody knows when, so it counts as exposed since it was last known closed" in text
    assert state(shop.closed, NOW).ledger.exposure_s == 20 * 24 * HOUR_S


def test_a_closed_bag_that_is_closed_is_only_moved(tour: Round, shop: Workshop) -> None:
    """The last choice says so; a place then moves it."""
    tour.scan(shop.closed, "6", shop.cabinet)
    now = state(shop.closed, NOW)
    assert (now.status, now.ledger.place) == ("in_dry_bag", shop.cabinet)


def test_another_scan_drops_the_question(tour: Round, shop: Workshop) -> None:
    """Said, and nothing is recorded for the first."""
    text = tour.scan(shop.closed, shop.usable)
    assert f"Nothing was recorded for {shop.closed}" in text
    assert event_recording.log_of(shop.closed) == []


def test_sent_twice_an_opening_is_recorded_once(browser: FlaskClient, shop: Workshop) -> None:
    """The same form again, after an answer that got lost."""
    sent = {
        "scan": "5b8a4a3e-0000-4000-8000-000000000002", "place": shop.line,
        "asked": shop.closed, "code": "2",
    }  # fmt: skip
    for _ in range(2):
        assert browser.post("/shift/scan", data=sent).status_code == 303
    kinds = [line.event.kind for line in event_recording.log_of(shop.closed)]
    assert kinds == ["open"]


def test_a_place_that_does_not_exist_is_said(browser: FlaskClient, shop: Workshop) -> None:
    """As everywhere."""
    assert browser.get("/shift?place=P000999X").status_code == 404


def test_an_opening_is_recorded_in_the_name_of_the_badge(tour: Round, shop: Workshop) -> None:
    """Who scanned a badge here is who found the bag open, and is known on other pages too."""
    person = shop.people[0]
    tour.scan(person, shop.closed, "1", shop.line)
    opening = event_recording.log_of(shop.closed)[-1].event
    assert (opening.kind, opening.person) == (Kind.OPEN, person)
    assert "<b data-who-name>Mira</b>" in tour.browser.get("/shift").text
