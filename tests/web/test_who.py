"""A badge scanned anywhere in a browser is the person on all its pages, for one time, until another
badge or "Not me"."""

from __future__ import annotations

import re
from collections.abc import Callable
from uuid import uuid4

import pytest
from flask import Flask
from flask.testing import FlaskClient

from msdtrack.printing.codes import make_action_code
from msdtrack.services import (
    alarm_rules,
    event_recording,
    people,
    receiving,
    sample_checks,
    scanning,
)
from msdtrack.services.badges import NOT_ME
from msdtrack.services.station_memory import BADGE_S, IN_BROWSER_S
from tests.web.conftest import NOW, ORIGIN, Clock
from tests.web.workshop import Workshop, placed_batch


def scan(
    browser: FlaskClient, code: str, at: int = NOW, station: str = "Bench"
) -> dict[str, object]:
    """Scan at the station's page and return what it shows."""
    sent = {"id": str(uuid4()), "station": station, "code": code, "at": at}
    answer = browser.post("/scan", json=sent)
    assert answer.status_code == 200, answer.text
    return answer.json


def here(browser: FlaskClient) -> str:
    """The name that the browser goes by."""
    return browser.get("/who/now").json["name"]


def signer(code: str) -> str | None:
    """Who signed the newest entry of a carrier's log."""
    return event_recording.log_of(code)[-1].event.person


def moved(browser: FlaskClient, shop: Workshop, at: int = NOW) -> str | None:
    """Who signs a move that is scanned at the station's page."""
    place = shop.line if at % 2 else shop.bench
    scan(browser, shop.closed, at)
    assert scan(browser, place, at)["tone"] != "refuse"
    return signer(shop.closed)


def acknowledged(browser: FlaskClient, shop: Workshop) -> str | None:
    """Who acknowledges an alarm on the page of the alarms."""
    text = browser.get("/alarms").text
    seen = re.search(r'name="seen" value="(\d+)(-[^"]+)"', text)
    assert seen is not None
    browser.post("/alarms/acknowledge", data={"seen": seen[1] + seen[2]})
    (alarm,) = [one for one in alarm_rules.active_alarms() if one.id == int(seen[1])]
    return alarm.acknowledged_by


def _at_the_station(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    scan(browser, badge)


def _at_the_oven(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post(f"/ovens/{shop.oven}/scan", data={"code": badge})


def _at_the_count(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post(f"/count/{shop.store}/scan", data={"code": badge})


def _at_the_end_of_shift(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post("/shift/scan", data={"code": badge, "scan": str(uuid4())})


def _at_the_alarms(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post("/alarms/who", data={"badge": badge})


def _in_the_search_of_alarms(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post("/alarms/find", data={"find": badge})


def _at_the_boards(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post("/boards/scan", data={"scan": badge})


def _at_a_batch(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    batch = placed_batch(shop, shop.usable)
    browser.post(f"/boards/{batch}/scan", data={"scan": badge, "request_id": str(uuid4())})


def _at_the_checks(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post("/checks/scan", data={"scan": badge})


def _at_the_list_of_counts(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post("/count", data={"code": badge})


def _by_its_own_page(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post("/who", data={"badge": badge.lower()})


def _by_name(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    browser.post("/who", data={"person": badge})


def _by_signing(browser: FlaskClient, shop: Workshop, badge: str) -> None:
    data = {"value": "on", "person": badge, "reason": "compounds are on file"}
    browser.post("/setup/policies/credit", data=data)


EVERYWHERE = (
    _at_the_station,
    _at_the_oven,
    _at_the_count,
    _at_the_list_of_counts,
    _at_the_end_of_shift,
    _at_the_alarms,
    _in_the_search_of_alarms,
    _at_the_boards,
    _at_a_batch,
    _at_the_checks,
    _by_its_own_page,
    _by_name,
    _by_signing,
)


@pytest.mark.parametrize("say", EVERYWHERE, ids=lambda say: say.__name__.strip("_"))
def test_a_badge_scanned_anywhere_is_the_person_everywhere(
    browser: FlaskClient, shop: Workshop, say: Callable[[FlaskClient, Workshop, str], None]
) -> None:
    """Alarms and the scan station sign with it, every page shows it; the next one takes over."""
    for badge, name in zip(shop.people, ("Mira", "Jonas"), strict=True):
        say(browser, shop, badge)
        assert here(browser) == name
        assert f"<b data-who-name>{name}</b>" in browser.get("/ovens").text
        assert browser.get("/scan/station?name=Bench").json["person"] == name
    assert acknowledged(browser, shop) == shop.people[1]
    assert moved(browser, shop) == shop.people[1]


@pytest.mark.parametrize(
    "path",
    ["/", "/alarms", "/carriers", "/checks", "/boards", "/shift", "/count", "/goods-in", "/setup",
     "/receive", "/places", "/parts", "/closing"],
)  # fmt: skip
def test_every_page_says_who_is_there_and_ends_it(
    browser: FlaskClient, shop: Workshop, path: str
) -> None:
    """Nobody, with the way to say it; then the name, with "Not me"; that goes on with the page."""
    assert "<b data-who-name>nobody</b>" in browser.get(path).text
    browser.post("/who", data={"badge": shop.people[0]})
    page = browser.get(path).text
    assert "<b data-who-name>Mira</b>" in page
    back = re.search(r'name="back" value="([^"]+)"', page)
    assert back is not None
    answer = browser.post("/who", data={"person": "", "back": back[1]})
    assert answer.headers["Location"] == path
    assert "<b data-who-name>nobody</b>" in browser.get(path).text


def test_it_ends_for_all_pages_at_one_time(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """An hour after the last entry, whichever page that was made on."""
    scan(browser, shop.people[0])
    wall_clock.now += IN_BROWSER_S - 1
    browser.post("/checks/scan", data={"scan": shop.closed})
    wall_clock.now += IN_BROWSER_S
    assert here(browser) == "Mira"
    assert moved(browser, shop, wall_clock.now) == shop.people[0]
    wall_clock.now += IN_BROWSER_S + 1
    assert here(browser) == ""
    assert (
        "Say who you are first"
        in browser.post(
            "/alarms/acknowledge", data={"seen": "1-1-high-unacknowledged"}, follow_redirects=True
        ).text
    )
    assert moved(browser, shop, wall_clock.now) is None


def test_looking_keeps_no_name(browser: FlaskClient, shop: Workshop, wall_clock: Clock) -> None:
    """A wall tablet that shows its page all day is nobody's."""
    scan(browser, shop.people[0])
    for _ in range(3):
        wall_clock.now += IN_BROWSER_S // 3 + 1
        browser.get("/shift/data")
        browser.get("/alarms")
        browser.get("/scan/station?name=Bench")
    assert here(browser) == ""


def test_not_me_is_a_scan_among_scans(browser: FlaskClient, shop: Workshop) -> None:
    """It keeps its turn among scans that wait for the server, and ends the name on every page."""
    page = browser.get("/scan").text
    assert f'data-send="{NOT_ME}"' in page
    shown = scan(browser, shop.people[0])
    assert (shown["person"], shown["person_until"]) == ("Mira", NOW + IN_BROWSER_S)
    shown = scan(browser, NOT_ME)
    assert (shown["tone"], shown["person"], shown["person_until"]) == ("ok", None, 0)
    assert here(browser) == ""
    assert moved(browser, shop) is None


def test_scans_that_come_late_go_by_who_was_there_then(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """The server was away for long: badge and work of before it came back are one person's."""
    wall_clock.now += 2 * IN_BROWSER_S
    scan(browser, shop.people[0], NOW)
    assert moved(browser, shop, NOW + 60) == shop.people[0]
    assert moved(browser, shop, NOW + 60 + IN_BROWSER_S + 1) is None
    assert here(browser) == ""


@pytest.mark.parametrize("then", ["badge", "not me"])
def test_scans_that_waited_are_not_signed_by_who_came_after(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock, then: str
) -> None:
    """Mira worked without a server and left the page; Jonas, or nobody, is said before her scans
    get through. They take no name of his, and what they say of her ends nothing of his."""
    mira, jonas = shop.people
    scan(browser, mira)
    wall_clock.now += 20 * 60
    browser.post("/who", data={"badge": jonas} if then == "badge" else {"person": ""})
    now = "Jonas" if then == "badge" else ""
    wall_clock.now += 60
    assert moved(browser, shop, NOW + 300) is None
    for code in (mira, NOT_ME, mira):
        scan(browser, code, NOW + 360)
        assert here(browser) == now
    assert moved(browser, shop, NOW + 421) is None
    assert moved(browser, shop, wall_clock.now) == (jonas if now else None)


def test_a_clock_some_seconds_behind_is_not_before(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """The page's moments come from the server's whole seconds: a scan right after the name."""
    wall_clock.now += 100
    browser.post("/who", data={"badge": shop.people[0]})
    assert moved(browser, shop, NOW + 97) == shop.people[0]


def test_scans_that_waited_prolong_nothing(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """The hour counts from when they were made: nobody was there when they got through."""
    scan(browser, shop.people[0])
    wall_clock.now += IN_BROWSER_S - 60
    assert moved(browser, shop, NOW + 300) == shop.people[0]
    wall_clock.now = NOW + 300 + IN_BROWSER_S + 1
    assert here(browser) == ""


@pytest.mark.parametrize("kept", [["W0000017", 5], ["W0000017", "5", 5], "W0000017", [], {"a": 1}])
def test_a_session_of_another_version_is_nobody(browser: FlaskClient, kept: object) -> None:
    """A browser that stood open while the server was updated."""
    with browser.session_transaction() as session:
        session["who"] = kept
    assert here(browser) == ""
    assert browser.get("/").status_code == 200


def test_a_badge_sent_twice_says_so_twice(browser: FlaskClient, shop: Workshop) -> None:
    """Its answer was lost, and with it what the browser was to keep: the second one brings it."""
    sent = {"id": str(uuid4()), "station": "Bench", "code": shop.people[0], "at": NOW}
    lost = browser.application.test_client()
    assert lost.post("/scan", json=sent, headers=ORIGIN).json["person"] == "Mira"
    assert browser.post("/scan", json=sent).json["person"] == "Mira"
    assert here(browser) == "Mira"
    assert len(scanning.recent("Bench")) == 1


def test_a_refused_badge_changes_nobody(browser: FlaskClient, shop: Workshop) -> None:
    """Somebody who is not on file; the name before stands."""
    scan(browser, shop.people[0])
    assert scan(browser, "W999999R")["tone"] == "refuse"
    assert here(browser) == "Mira"


def test_another_browser_is_another_place(
    site_app: Flask, browser: FlaskClient, shop: Workshop
) -> None:
    """Two tablets that go by one station's name have each their own person."""
    other = site_app.test_client()
    other.environ_base["HTTP_ORIGIN"] = ORIGIN["Origin"]
    scan(browser, shop.people[0])
    scan(other, shop.people[1])
    assert moved(browser, shop) == shop.people[0]
    assert (here(browser), here(other)) == ("Mira", "Jonas")


def test_a_scanner_without_a_browser_keeps_its_badge_for_a_shift(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """Over the API the station remembers, whatever browsers do."""

    def bare(code: str) -> dict[str, object]:
        body = {"id": str(uuid4()), "station": "Handheld", "code": code}
        return browser.application.test_client().post("/api/v1/scans", json=body).json

    bare(shop.people[1])
    scan(browser, shop.people[0])
    wall_clock.now += BADGE_S
    bare(shop.closed)
    bare(shop.line)
    assert signer(shop.closed) == shop.people[1]


def test_a_button_made_for_somebody_else_signs_nothing(
    browser: FlaskClient, shop: Workshop
) -> None:
    """A page that stood open says "as Mira"; Jonas is here now: told, and nothing is done."""
    browser.post("/who", data={"badge": shop.people[0]})
    text = browser.get("/alarms").text
    assert "Acknowledge as Mira" in text
    form = dict(re.findall(r'name="(seen|by)" value="([^"]+)"', text)[:2])
    scan(browser, shop.people[1])
    page = browser.post("/alarms/acknowledge", data=form, follow_redirects=True).text
    assert "Jonas is at work here now, so nothing was done" in page
    page = browser.post(
        "/alarms/acknowledge", data=form | {"by": shop.people[1]}, follow_redirects=True
    ).text
    assert "Acknowledged by Jonas" in page


def test_who_has_left_is_nobody_at_once(browser: FlaskClient, shop: Workshop) -> None:
    """Also where the browser still goes by that name."""
    mira, jonas = shop.people
    scan(browser, mira)
    people.amend_person(mira, {"in_use": False}, NOW, jonas, "has left")
    assert here(browser) == ""
    assert moved(browser, shop) is None
    page = browser.post("/who", data={"badge": mira}, follow_redirects=True).text
    assert "This badge is no longer in use" in page


@pytest.mark.parametrize(
    "back",
    [
        "//elsewhere.test/x",
        "/\\elsewhere.test",
        "https://x.test/",
        "x",
        "/\t/x.test",
        "/shift\r\nA: b",
    ],
)
def test_it_goes_on_with_pages_of_ours_only(
    browser: FlaskClient, shop: Workshop, back: str
) -> None:
    """Anything else leads to the start."""
    answer = browser.post("/who", data={"badge": shop.people[0], "back": back})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/")


def test_a_wrong_badge_is_said_where_it_was_scanned(browser: FlaskClient, shop: Workshop) -> None:
    """In words, on the page that asks who; where to go on is kept."""
    answer = browser.post("/who", data={"badge": shop.closed, "back": "/shift"})
    page = browser.get(answer.headers["Location"]).text
    assert "is the code of a carrier: scan a badge" in page
    assert 'name="back" value="/shift"' in page


def test_a_late_scan_of_a_check_is_signed_by_who_was_there(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """It goes by who was at the screen when it was made."""
    browser.post("/checks/limits", data={
        "part": "WB-PRS-3", "variant": "top", "table": "channel;minimum;maximum;unit\nP1;1;2;mV",
        "person": shop.people[0], "reason": "data sheet",
    })  # fmt: skip
    new = sample_checks.NewCheck(
        part="WB-PRS-3", lot=receiving.carrier_facts(shop.closed).lot, variant="top",
        lot_size=500, level="II", aql_pct="1.0",
        sample_size=50, accept=1, bags=1, person=shop.people[0], deviation="",
    )  # fmt: skip
    record, _ = sample_checks.create(new, NOW, str(uuid4()))
    wall_clock.now += 2 * IN_BROWSER_S
    for code in (shop.closed, make_action_code("OPEN")):
        data = {"code": code, "scanned_at": str(NOW + 60), "request_id": str(uuid4())}
        assert browser.post(f"/checks/{record.number}/scan", data=data).status_code == 303
    opening = event_recording.log_of(shop.closed)[-1].event
    assert (opening.kind, opening.person) == ("open", shop.people[0])
    browser.post("/who", data={"badge": shop.people[1]})
    data = {"code": shop.people[0], "scanned_at": str(NOW + 90), "request_id": str(uuid4())}
    browser.post(f"/checks/{record.number}/scan", data=data)
    assert here(browser) == "Jonas"
