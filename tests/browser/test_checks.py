"""A sample check in a real browser, as an inspector does it: no mouse, mistakes included."""

from __future__ import annotations

import re
import time

import pytest
from playwright.sync_api import Page, expect

from msdtrack.printing.codes import make_action_code
from msdtrack.services import measurements, receiving
from msdtrack.services.receiving import NewCarrier
from tests.browser.conftest import NewServer
from tests.browser.live_server import LiveServer
from tests.browser.quiet import COUNT_PRINTS, TABLET
from tests.browser.scan_station import answered
from tests.browser.scanner import scan
from tests.browser.test_pages import FAINT, SCREENS, SMALL
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser

LIMITS = "offset at 0 dbar;-1.5;1.5;mV\ngain;19.8;20.2;mV/dbar"
OPEN, UNDO, HICDRY, CLOSEQUICK = (
    make_action_code(name) for name in ("OPEN", "UNDO", "HICDRY", "CLOSEQUICK")
)


def two_more_bags(shop: Workshop) -> None:
    """Limits for the part, and two more carriers of the closed carrier's lot."""
    measurements.set_limits("WB-PRS-3", "bare", LIMITS, "Mira", "drawing 7", shop.now)
    for _ in range(2):
        receiving.receive(NewCarrier("WB-PRS-3", "B-1", 300, "reel", place=shop.line), shop.now)


@pytest.fixture
def live(new_server: NewServer) -> tuple[LiveServer, Workshop]:
    """A server over a workshop of this test's own."""
    return new_server(two_more_bags)


def said(page: Page, title: str) -> None:
    """Wait until the answer to the last scan is this."""
    expect(page.locator(".desk-answer .verdict-word")).to_have_text(title)


def printed(page: Page, count: int) -> None:
    """Wait until so many labels were sent to the printer."""
    deadline = time.monotonic() + 10
    while page.evaluate("window.prints || 0") < count and time.monotonic() < deadline:
        page.wait_for_timeout(50)
    assert page.evaluate("window.prints || 0") == count


def planned(page: Page, live: tuple[LiveServer, Workshop]) -> None:
    """Plan a check of 4 pieces of the lot, from the scan of a carrier on."""
    server, shop = live
    page.add_init_script(COUNT_PRINTS)
    page.set_viewport_size(TABLET)
    page.goto(f"{server.url}/checks")
    expect(page.locator("#scan")).to_be_focused()
    scan(page, shop.closed)
    # 1100 pieces at 0.65 %: letter J, 80 pieces (ISO 2859-1, from memory).
    expect(page.locator("#sample_size")).to_have_value("80")
    page.select_option("#person", label="Mira")
    page.fill("#sample_size", "4")
    page.fill("#accept", "0")
    page.fill("#bags", "1")
    page.locator("#bags").press("Enter")
    expect(page.locator("#deviation")).to_have_attribute("aria-invalid", "true")
    expect(page.locator(".wrong").first).to_contain_text("80 pieces and at most 1 failing")
    page.fill("#deviation", "agreed with the supplier")
    page.locator("#deviation").press("Enter")
    page.wait_for_url(re.compile(r"/checks/1$"))
    expect(page.locator("#desk-code")).to_be_focused()


def test_from_the_scan_of_a_bag_to_a_lot_on_hold_and_its_release(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Wrong bag, wrong number taken back, wrong paste mended, then rejected and released."""
    server, shop = live
    planned(page, live)

    scan(page, shop.usable)
    said(page, "Another lot")
    scan(page, shop.closed, OPEN)
    expect(page.locator(".asked h2")).to_have_text("The humidity card?")
    clocks = page.locator(".big-clock-time b")
    expect(clocks).to_have_count(2)
    expect(clocks.nth(0)).to_have_text(re.compile(r"(30:00|29:\d\d)"))
    expect(clocks.nth(1)).to_have_text(re.compile(r"(60:00|59:\d\d)"))
    expect(clocks.nth(1)).to_be_in_viewport()
    height = clocks.nth(0).evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
    assert height >= 40

    scan(page, "1")
    expect(page.locator(".asked-number")).to_have_text("4 wanted")
    scan(page, "3")
    said(page, "3 taken")
    scan(page, UNDO)
    said(page, "Taken back")
    expect(page.locator(".asked h2")).to_contain_text("How many taken?")
    scan(page, "4")
    said(page, "4 taken")
    child = page.locator("[data-print-child]").get_attribute("data-print-child")
    assert child is not None
    expect(page.locator(".halves")).to_contain_text(child)
    # One label for the pieces that were taken back, one for these.
    printed(page, 2)
    scan(page, CLOSEQUICK)
    said(page, "Closed")
    expect(clocks).to_have_count(0)
    expect(page.locator("#desk-code")).to_be_focused()
    kinds = [one["kind"] for one in answered(server, f"/carriers/{shop.closed}/events")["items"]]
    assert kinds.count("open") == 1
    assert kinds.count("split") == 2
    assert kinds.count("close") == 1

    page.get_by_role("link", name="Enter measurements").press("Enter")
    expect(page.locator("#table")).to_be_focused()
    good = "piece\toffset at 0 dbar\tgain\n1\t0,1\t20,01\n2\t0,2\t20,0\n3\t-0,1\t19,9\n4\t0,3\t20,1"
    page.fill("#table", good.replace("2\t0,2", "2\t0.2"))
    page.locator("form", has=page.locator("#table")).locator("button").press("Enter")
    expect(page.locator("#findings li").first).to_contain_text("Row 2, offset at 0 dbar")
    expect(page.locator("#findings li").first).to_contain_text("one sign for decimals")
    expect(page.locator("#table")).to_have_value(good.replace("2\t0,2", "2\t0.2"))
    page.fill("#table", good.replace("-0,1", "-1,6"))
    page.locator("form", has=page.locator("#table")).locator("button").press("Enter")
    page.wait_for_url(re.compile(r"/proof$"))
    expect(page.locator(".verdict-word")).to_have_text("Rejected")
    expect(page.locator(".dot-failing:not(.key *)")).to_have_count(1)
    expect(page.locator(".told").last).to_contain_text("all its 4 carriers are on hold now")

    page.goto(f"{server.url}/scan?station=Line")
    scan(page, f"{shop.closed} {make_action_code('OPEN')}", make_action_code("HICDRY"))
    scan(page, f"{shop.closed} {make_action_code('LOAD')}")
    expect(page.locator("[data-title]")).to_have_text("On hold")
    expect(page.locator("[data-message]")).to_contain_text("sample check 1")

    page.goto(f"{server.url}/checks/1#release")
    page.get_by_text("Release", exact=True).first.press("Enter")
    page.select_option("#person", label="Jonas")
    page.fill("#reason", "all pieces of this lot measured one by one")
    page.locator("#reason").press("Enter")
    expect(page.locator(".told").first).to_contain_text("Released:")
    page.goto(f"{server.url}/checks")
    expect(page.locator("tbody tr").first).to_contain_text("Released after rejection")
    state = answered(server, f"/carriers/{shop.closed}")
    assert "held" not in state["reasons"]


def test_pieces_are_typed_and_put_back(page: Page, live: tuple[LiveServer, Workshop]) -> None:
    """Piece after piece with Enter, the lot is accepted, the pieces go back into their bag."""
    server, shop = live
    planned(page, live)
    scan(page, shop.closed, OPEN, HICDRY, "4")
    said(page, "4 taken")
    child = page.locator("[data-print-child]").get_attribute("data-print-child") or ""
    page.goto(f"{server.url}/checks/1/measure?how=typed")
    for number in range(1, 5):
        expect(page.locator("#typed-piece")).to_have_value(str(number))
        expect(page.locator("#value_0")).to_be_focused()
        page.keyboard.type("0,1")
        page.keyboard.press("Tab")
        page.keyboard.type("twenty" if number == 1 else "20,05")
        page.keyboard.press("Enter")
        if number == 1:
            expect(page.locator(".wrong").first).to_contain_text('"twenty" is no number')
            page.fill("#value_1", "20,05")
            page.locator("#value_1").press("Enter")
    page.wait_for_url(re.compile(r"/proof$"))
    expect(page.locator(".verdict-word")).to_have_text("Accepted")
    page.goto(f"{server.url}/checks/1")
    scan(page, child, "1")
    said(page, "Back together")
    scan(page, CLOSEQUICK)
    said(page, "Closed")
    assert answered(server, f"/carriers/{shop.closed}")["quantity"] == 500


def test_a_scan_is_kept_while_the_server_is_gone(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """It says so, sends it when the server is back, and it counts from when it was made."""
    server, shop = live
    planned(page, live)
    scan(page, shop.closed)
    said(page, "In hand")
    server.kill()
    before = time.time()
    scan(page, OPEN)
    expect(page.locator("[data-desk-unsent]")).to_be_visible()
    page.wait_for_timeout(2500)
    server.start()
    said(page, "Opened")
    expect(page.locator("[data-desk-unsent]")).to_be_hidden()
    events = answered(server, f"/carriers/{shop.closed}/events")["items"]
    assert [one["kind"] for one in events] == ["open"]
    ends = page.locator(".big-clock-time b").first.get_attribute("data-ends-at")
    assert abs(int(ends or 0) - 1800 - before) <= 2


@pytest.mark.parametrize("screen", SCREENS)
def test_every_page_of_a_check_fits_and_can_be_read(
    screen: str, page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Nothing beyond the side, 44 pixels to hit, contrast 4.5:1 (WCAG 2.2, 1.4.3)."""
    server, shop = live
    planned(page, live)
    scan(page, shop.closed, OPEN, HICDRY, "4")
    said(page, "4 taken")
    page.goto(f"{server.url}/checks/1/measure")
    page.fill("#table", "offset at 0 dbar;gain\n0,1;20\n2,4;20")
    page.locator("form", has=page.locator("#table")).locator("button").press("Enter")
    page.wait_for_url(re.compile(r"/proof$"))
    page.set_viewport_size(SCREENS[screen])
    problems = []
    for path in (
        "/checks", "/checks?search=B-1", "/checks/plan?part=WB-PRS-3&lot=B-1", "/checks/1",
        "/checks/1/measure", "/checks/1/proof", "/checks/limits?part=WB-PRS-3",
    ):  # fmt: skip
        page.goto(server.url + path)
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > SCREENS[screen]["width"]:
            problems.append(f"{path}: {width} px wide")
        if screen != "wall":
            problems += [f"{path}: small {each}" for each in page.evaluate(SMALL)]
        problems += [f"{path}: faint {each}" for each in page.evaluate(FAINT)]
    assert problems == []
