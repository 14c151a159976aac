"""The scan station while the server is away or stumbles: no scan is lost, none counts twice."""

from __future__ import annotations

import re
import time
from datetime import datetime

import pytest
from playwright.sync_api import Page, expect

from msdtrack.printing.codes import make_action_code
from tests.browser.live_server import LiveServer
from tests.browser.scan_station import OPEN, scanned, title
from tests.browser.scanner import scan
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser


def test_a_scan_without_the_server_is_not_lost_and_counts_once(
    station: Page, server: LiveServer, shop: Workshop
) -> None:
    """Killed in the middle of work: it says so, keeps the scans over a reload, sends them later.

    The opening counts from when it was scanned.
    """
    scan(station, shop.closed)
    title(station, "In dry bag")
    server.kill()
    before = int(time.time())
    scan(station, OPEN, make_action_code("HICDRY"))
    after = time.time()
    unsaved = station.locator("[data-unsaved]")
    expect(unsaved).to_be_visible()
    expect(unsaved).to_contain_text("NOT SAVED YET")
    expect(unsaved).to_contain_text("2 scans wait")
    expect(station.locator("[data-entry-state]")).to_have_text("Not saved")
    title(station, "2 scans wait")
    expect(station.locator("[data-carrier]")).to_be_hidden()
    station.wait_for_timeout(2500)
    server.start()
    title(station, "Card read")
    expect(unsaved).to_be_hidden()
    lines = scanned(server, shop.closed)
    assert [line["kind"] for line in lines] == ["open", "correct"]
    opened_at = datetime.fromisoformat(str(lines[0]["at"])).timestamp()
    assert before - 1 <= opened_at <= after


def test_scans_survive_a_page_that_is_closed(
    station: Page, server: LiveServer, shop: Workshop
) -> None:
    """The tablet is switched off while the server is away; both come back."""
    server.kill()
    scan(station, f"{shop.closed} {OPEN}")
    expect(station.locator("[data-unsaved]")).to_be_visible()
    other = station.context.new_page()
    station.close(run_before_unload=False)
    server.start()
    other.goto(f"{server.url}/scan")
    title(other, "Opened")
    assert len(scanned(server, shop.closed)) == 1


def test_an_answer_lost_on_the_way_does_nothing_twice(
    station: Page, server: LiveServer, shop: Workshop
) -> None:
    """The server did it, the answer never came: the same scan is sent again and only told."""
    lost: list[str] = []

    def lose_first(route) -> None:
        if not lost:
            lost.append(route.request.post_data)
            route.fetch()
            route.abort()
        else:
            route.continue_()

    station.route(re.compile(r"/scan$"), lose_first)
    scan(station, f"{shop.closed} {OPEN}")
    title(station, "Opened")
    assert lost
    assert [line["kind"] for line in scanned(server, shop.closed)] == ["open"]


def test_a_scan_the_server_stumbles_over_can_be_set_aside(station: Page, shop: Workshop) -> None:
    """It must not block the station for ever, and is told as not on record."""
    wrong = shop.opened
    station.route(
        re.compile(r"/scan$"),
        lambda route: (
            route.fulfill(status=500, body="")
            if wrong in (route.request.post_data or "")
            else route.continue_()
        ),
    )
    scan(station, wrong, shop.closed)
    station.get_by_role("button", name="Set it aside").click(timeout=15_000)
    expect(station.locator("[data-before]")).to_contain_text("Not recorded")
    title(station, "In dry bag")
