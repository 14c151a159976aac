"""A run planned at a keyboard, on each screen, and on paper."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect

from msdtrack.services import catalog, receiving
from msdtrack.services.receiving import NewCarrier
from tests.browser.conftest import NewServer
from tests.browser.test_pages import FAINT, SCREENS, SMALL
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser


def trays_that_stand_heat(shop: Workshop) -> None:
    """Let the worn out carrier be baked, and put three into one bag."""
    catalog.amend_part("WB-PRS-3", {"carrier_max_c": 140}, shop.now)
    sealed_on = datetime.fromtimestamp(shop.now, UTC).date() - timedelta(days=30)
    for number in range(3):
        new = NewCarrier(
            "WB-MEM-5A", f"M-{number}", 50, "tray", bag="BAG-7", sealed_on=sealed_on,
            place=shop.store,
        )  # fmt: skip
        receiving.receive(new, shop.now)


def test_a_run_is_planned_with_keys_only(page: Page, new_server: NewServer) -> None:
    """The line is scanned, the needs typed, a slip put right; the plan is at its own address, fits
    every screen and the width of a page of paper."""
    server, shop = new_server(trays_that_stand_heat)
    page.goto(f"{server.url}/plan")
    expect(page.locator("#place")).to_be_focused()
    page.keyboard.press("Control+a")
    page.keyboard.type(shop.line)
    page.locator("#needs").focus()
    page.keyboard.type("WB-PRS-3; 2000\nWB-MEM-5 120\nWB-CND-5, 10")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator(".plan-findings")).to_have_text("Line 2: there is no part WB-MEM-5.")
    needs = page.locator("#needs")
    expect(needs).to_have_value("WB-PRS-3; 2000\nWB-MEM-5 120\nWB-CND-5, 10")
    needs.focus()
    page.keyboard.press("Control+Home")
    page.keyboard.press("ArrowDown")
    for _ in range(len("WB-MEM-5")):
        page.keyboard.press("ArrowRight")
    page.keyboard.type("A")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Run on Line 1")).to_be_visible()
    expect(page.locator(".plan-sums")).to_contain_text("1 carrier")
    expect(page.locator("#bake")).to_contain_text(shop.expired)
    expect(page.locator("main")).to_contain_text("opening it opens all")
    said = page.locator(".plan-part").all_inner_texts()
    page.reload()
    assert page.locator(".plan-part").all_inner_texts() == said
    page.locator(".plan-not summary").first.focus()
    page.keyboard.press("Enter")
    for screen, size in SCREENS.items():
        page.set_viewport_size(size)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
        assert page.evaluate(FAINT) == []
        assert screen == "wall" or page.evaluate(SMALL) == []
    page.emulate_media(media="print")
    # A4 less its margins, in pixels of CSS.
    page.set_viewport_size({"width": 703, "height": 1000})
    assert page.evaluate("document.documentElement.scrollWidth") <= 703
    expect(page.locator("main form")).to_be_hidden()
    expect(page.locator(".plan-part .code").first).to_be_visible()
    assert page.evaluate(FAINT) == []
