"""The scan station's page: what it offers, and what it answers a scan."""

from __future__ import annotations

from uuid import uuid4

import pytest
from flask.testing import FlaskClient

from msdtrack.printing.codes import ACTIONS, make_action_code
from msdtrack.services import carrier_states, scanning
from msdtrack.store.errors import StoreUnavailable
from tests.web.conftest import NOW, Clock
from tests.web.workshop import Workshop


def scan(browser: FlaskClient, code: str, **more: object):
    """Send a scan as the page does."""
    sent = {"id": str(uuid4()), "station": "Bench", "code": code, "at": NOW}
    return browser.post("/scan", json={**sent, **more})


def test_every_action_but_the_asked_ones_is_on_the_page(browser: FlaskClient) -> None:
    """What is asked for is offered then; the scanner test is on the set-up page."""
    page = browser.get("/scan").text
    for name, action in ACTIONS.items():
        asked = action.spots is not None or action.minutes_ago is not None or name == "TEST"
        assert (f'data-send="{make_action_code(name)}"' in page) is not asked, name


def test_a_scan_is_answered_with_all_the_screen_shows(browser: FlaskClient, shop: Workshop) -> None:
    """Opening asks for the card: five pictures, four times, two clocks."""
    scan(browser, shop.closed)
    answer = scan(browser, make_action_code("OPEN"))
    assert answer.status_code == 200
    shown = answer.json
    assert (shown["tone"], shown["title"], shown["carrier"]) == ("ask", "Opened", shop.closed)
    assert (shown["part"], shown["msl"]) == ("WB-PRS-3", "3")
    assert [one["spots"] for one in shown["choices"][:2]] == [
        ["dry", "dry", "dry"],
        ["humid", "dry", "dry"],
    ]
    assert [one["minutes"] for one in shown["choices"][5:]] == [5, 15, 30, 60]
    ends = {one["name"]: one["ends_at"] - NOW for one in shown["countdowns"]}
    assert (ends["Desiccant used up"], ends["Reseal the bag"]) == (1800, 3600)
    assert (shown["code"], shown["took_back"]) == (make_action_code("OPEN"), None)
    assert shown["now"] == NOW


def test_times_are_in_the_zone_of_the_site(browser: FlaskClient, shop: Workshop) -> None:
    """Noon UTC is 13:00 in Lisbon in May."""
    shown = scan(browser, f"{shop.opened} {make_action_code('OPEN')}").json
    assert shown["title"] == "Open already"
    assert "12:50" in shown["message"]
    assert shown["time"] == "13:00"
    assert browser.get("/scan/station?name=Bench").json["recent"][0]["time"] == "13:00"


def test_an_undo_says_which_scan_it_took_back(browser: FlaskClient, shop: Workshop) -> None:
    """The strip strikes that one out; sent again, it says so again."""
    opening = scan(browser, f"{shop.closed} {make_action_code('OPEN')}").json
    sent = {"id": str(uuid4()), "station": "Bench", "code": make_action_code("UNDO"), "at": NOW}
    told = [browser.post("/scan", json=sent).json for _ in range(2)]
    assert [one["title"] for one in told] == ["Taken back", "Taken back"]
    assert [one["took_back"] for one in told] == [opening["scan_id"]] * 2
    recent = browser.get("/scan/station?name=Bench").json["recent"]
    assert [(one["id"], one["undone"]) for one in recent] == [
        (sent["id"], False),
        (opening["scan_id"], True),
    ]


def test_a_refused_scan_is_an_answer(browser: FlaskClient, shop: Workshop) -> None:
    """A wrong code is told in words with status 200: it is on record and done with."""
    answer = scan(browser, "C000001X")
    assert answer.status_code == 200
    assert answer.json["tone"] == "refuse"
    assert answer.json["carrier"] is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"id": "no-uuid"},
        {"at": "now"},
        {"at": -1},
        {"station": " "},
        {"extra": 1},
        {"code": "X" * 201},
    ],
)
def test_what_the_page_would_never_send_is_refused(
    browser: FlaskClient, shop: Workshop, wrong: dict[str, object]
) -> None:
    """In JSON, so that the page can tell; nothing is on record."""
    answer = scan(browser, **{"code": shop.closed, **wrong})
    assert answer.status_code == 422
    assert answer.json["message"]
    assert scanning.recent("Bench") == []


def test_a_scan_from_another_site_is_refused(browser: FlaskClient, shop: Workshop) -> None:
    """A page elsewhere can't scan in this browser's name."""
    sent = {"id": str(uuid4()), "station": "Bench", "code": shop.closed, "at": NOW}
    answer = browser.post("/scan", json=sent, headers={"Origin": "http://elsewhere.example"})
    assert answer.status_code == 403
    assert scanning.recent("Bench") == []


def test_without_the_database_the_page_is_told_to_try_again(
    browser: FlaskClient, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """503 keeps the scan in the page's queue."""

    def gone(*_: object) -> None:
        raise StoreUnavailable("The database does not answer.")

    monkeypatch.setattr(scanning, "scan", gone)
    assert scan(browser, shop.closed).status_code == 503


def test_a_kept_scan_counts_from_its_own_time(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """It comes ten minutes late and still opens the bag when it was scanned."""
    wall_clock.now = NOW + 600
    scan(browser, f"{shop.closed} {make_action_code('OPEN')}", at=NOW + 3)
    assert carrier_states.state(shop.closed, wall_clock.now).opened_at == NOW + 3


def test_a_page_just_loaded_hears_what_the_station_waits_with(
    browser: FlaskClient, shop: Workshop
) -> None:
    """Who is at work, what waits, and that a number is expected."""
    scan(browser, shop.people[0])
    scan(browser, f"{shop.opened} {make_action_code('TAKE')}")
    heard = browser.get("/scan/station?name=Bench").json
    assert (heard["person"], heard["action"]) == ("Mira", ACTIONS["TAKE"].title)
    assert heard["wants_number"] is True
    assert len(heard["recent"]) == 2
    assert browser.get("/scan/station?name=Other").json["action"] is None
