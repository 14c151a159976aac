"""Boards between reflows in a real browser: a scanner that types and presses Enter, keys only."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import NewServer, nothing_more
from tests.browser.live_server import LiveServer
from tests.browser.scanner import scan_in_focus
from tests.browser.test_line import HEIGHTS
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "tablet": (1024, 768), "wall": (1920, 1080)}


@pytest.fixture
def live(new_server: NewServer) -> tuple[LiveServer, Workshop]:
    """A server over a small workshop of this test's own."""
    return new_server(nothing_more)


def begun(page: Page, server: LiveServer, shop: Workshop) -> str:
    """Begin a batch with the first carrier, by scans and keys, and return its code."""
    page.goto(f"{server.url}/boards")
    scan_in_focus(page, shop.usable)
    expect(page.get_by_label("Name needed")).to_be_focused()
    page.keyboard.type("Pressure board, top side")
    page.keyboard.press("Tab")
    page.keyboard.press("Control+A")
    page.keyboard.type("40")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Pieces placed needed")).to_be_focused()
    expect(page.get_by_label("Pieces placed needed")).to_have_value("40")
    page.keyboard.press("Enter")
    expect(page.get_by_text(f"40 pieces of {shop.usable} are on the boards")).to_be_visible()
    found = re.search(r"/boards/(J\w+)", page.url)
    assert found is not None
    return found[1]


def press(page: Page, name: str) -> None:
    """Press a button by the keyboard."""
    button = page.get_by_role("button", name=name, exact=True)
    button.focus()
    page.keyboard.press("Enter")


def test_from_the_reel_to_the_last_reflow_without_a_mouse(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Place two carriers, pass, dry cabinet, last pass; the mistakes on the way are told."""
    server, shop = live
    code = begun(page, server, shop)
    scan_in_focus(page, shop.closed)
    expect(page.get_by_label("Pieces placed needed")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("no opening on record")
    page.get_by_role("link", name="Another carrier").focus()
    page.keyboard.press("Enter")
    scan_in_focus(page, code[:-1] + "?")
    expect(page.get_by_role("status")).to_contain_text("No code of this system")
    scan_in_focus(page, shop.opened)
    expect(page.get_by_label("Pieces placed needed")).to_be_focused()
    page.keyboard.press("Control+A")
    page.keyboard.type("80")
    page.keyboard.press("Enter")
    expect(page.locator("#components tbody tr")).to_have_count(2)

    page.get_by_label("Highest body temperature, °C").focus()
    page.keyboard.type("243")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Reflow pass 1 is on the log.")
    expect(page.get_by_text("1 of 3")).to_be_visible()
    scan_in_focus(page, shop.cabinet)
    expect(page.locator(".verdict")).to_contain_text("In dry storage")
    scan_in_focus(page, shop.line)
    expect(page.get_by_role("heading", name="Reflow pass 2")).to_be_visible()
    page.get_by_label("another reflow follows").focus()
    page.keyboard.press("ArrowDown")
    press(page, "The pass is done")
    expect(page.locator(".verdict")).to_contain_text("Soldered. No bake needed now")
    expect(page.locator("#reflow")).to_have_count(0)
    expect(page.locator("#log tbody tr")).to_have_count(6)


def test_an_oven_is_scanned_and_a_bake_kept_from_ruining_the_boards(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """The oven asks for the temperature, with the cautions open; out again by scanning a place."""
    server, shop = live
    begun(page, server, shop)
    scan_in_focus(page, shop.oven)
    expect(page.get_by_label("Temperature, °C needed")).to_be_focused()
    expect(page.get_by_text("connectors, batteries")).to_be_visible()
    page.keyboard.press("Control+A")
    page.keyboard.type("125")
    page.keyboard.press("Enter")
    expect(page.locator(".verdict")).to_contain_text("Baking")
    scan_in_focus(page, shop.line)
    expect(page.locator(".verdict")).to_contain_text("between passes")


def test_the_wall_shows_a_batch_as_large_as_a_part(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Its code and time left have the height of all others, and its row leads nowhere by mistake.

    Source: as for parts, ISO 9241-3 (`test_line`).
    """
    server, shop = live
    page.set_viewport_size({"width": 1920, "height": 1080})
    code = begun(page, server, shop)
    page.goto(f"{server.url}/line/{shop.line}")
    page.evaluate("document.fonts.ready")
    row = page.locator(".wall-row", has_text=code)
    expect(row).to_be_visible()
    expect(row).to_contain_text("In time")
    expect(row).to_contain_text("Pressure board, top side")
    for found in page.evaluate(HEIGHTS):
        assert found["capital"] >= 55
        assert found["fits"]
    heights = page.evaluate(
        "[...document.querySelectorAll('.wall-row:not([hidden])')].map((e) => e.offsetHeight)"
    )
    assert max(heights) - min(heights) <= 2


def test_the_watch_list_leads_to_the_boards(page: Page, live: tuple[LiveServer, Workshop]) -> None:
    """Found by the name of the boards or by a part on them; Enter goes to the batch."""
    server, shop = live
    code = begun(page, server, shop)
    page.goto(f"{server.url}/watch")
    page.keyboard.press("/")
    page.keyboard.type("pressure board")
    expect(page.locator("[data-row]:visible")).to_have_count(1)
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(f"/boards/{code}$"))


def test_the_scan_station_shows_a_batch_and_leads_to_its_page(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Its code, then a place moves it; the link is there for boards and gone for a carrier."""
    server, shop = live
    code = begun(page, server, shop)
    page.goto(f"{server.url}/scan")
    answer = page.locator("[data-answer]")
    for scanned, said in ((code, "Between reflows"), (shop.store, "Moved")):
        expect(page.locator("[data-code]")).to_be_focused()
        page.keyboard.type(scanned)
        page.keyboard.press("Enter")
        expect(answer.locator("[data-title]")).to_have_text(said)
    to_page = page.get_by_role("link", name="the page of these boards")
    expect(to_page).to_be_visible()
    page.keyboard.type(shop.usable)
    page.keyboard.press("Enter")
    expect(answer).to_contain_text(shop.usable)
    expect(to_page).to_be_hidden()
    page.keyboard.type(code)
    page.keyboard.press("Enter")
    expect(answer).to_contain_text("Pressure board, top side")
    expect(to_page).to_have_attribute("href", f"/boards/{code}")
    to_page.click()
    expect(page.get_by_role("heading", name="Pressure board, top side")).to_be_visible()


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_it_fits_the_screen(
    page: Page, live: tuple[LiveServer, Workshop], size: tuple[int, int], tmp_path: Path
) -> None:
    """Nothing is wider than the screen, on the list and on the batch."""
    server, shop = live
    page.set_viewport_size({"width": size[0], "height": size[1]})
    code = begun(page, server, shop)
    paths = ("/boards", f"/boards/{code}", f"/boards/{code}?oven={shop.oven}", "/watch", "/")
    for path in (*paths, f"/line/{shop.line}"):
        page.goto(server.url + path)
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= size[0], path
        page.screenshot(path=tmp_path / "shot.png", full_page=True)


def test_a_proof_on_paper_says_when_each_reflow_was(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """A4 is as narrow as a tablet, whose tables become blocks without their heads."""
    server, shop = live
    code = begun(page, server, shop)
    page.goto(f"{server.url}/boards/{code}/proof")
    page.set_viewport_size({"width": 794, "height": 1123})
    head = page.get_by_role("columnheader", name="Component")
    expect(head).to_be_hidden()
    page.emulate_media(media="print")
    expect(head).to_be_visible()
