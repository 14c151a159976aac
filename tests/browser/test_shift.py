"""The round at the end of a shift, by scanner alone, with the mistakes on the way."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from msdtrack.printing.codes import make_action_code
from tests.browser.conftest import NewServer, nothing_more
from tests.browser.scanner import scan

pytestmark = pytest.mark.browser


def test_a_round_from_scan_to_empty_list(page: Page, new_server: NewServer) -> None:
    """A reel to the cabinet, a wrong code, a bag closed, one taken back; the list follows."""
    server, shop = new_server(nothing_more)
    page.goto(f"{server.url}/shift")
    word, listed = page.locator(".desk-answer .verdict-word"), page.locator("[data-live-part]")
    expect(listed).to_contain_text(shop.usable)
    scan(page, shop.usable)
    expect(page.locator(".desk-answer")).to_contain_text("To: Cabinet.")
    scan(page, "P000001Z")
    expect(word).to_have_text("Code not valid")
    scan(page, shop.cabinet)
    expect(word).to_have_text("Ticked off")
    expect(listed).not_to_contain_text(shop.usable)
    scan(page, shop.opened)
    scan(page, make_action_code("CLOSEQUICK"))
    expect(word).to_have_text("Ticked off")
    expect(listed).not_to_contain_text(shop.opened)
    expect(page.get_by_text("Done here: 2")).to_be_visible()
    scan(page, make_action_code("UNDO"))
    expect(word).to_have_text("Taken back")
    expect(listed).to_contain_text(shop.opened)
    expect(page.locator("#desk-code")).to_be_focused()


def test_a_reel_found_open_at_the_feeder(page: Page, new_server: NewServer) -> None:
    """Asked when: 9000 minutes; then its card; of another nobody knows when."""
    server, shop = new_server(nothing_more)
    page.goto(f"{server.url}/shift")
    page.select_option("#place", shop.line)
    page.get_by_role("button", name="Go").click()
    page.wait_for_url(f"**/shift?place={shop.line}")
    word = page.locator(".desk-answer .verdict-word")
    expect(page.locator("#desk-code")).to_be_focused()
    scan(page, shop.closed)
    expect(word).to_have_text("When was it opened?")
    scan(page, "9000")
    expect(word).to_have_text("Opening recorded")
    scan(page, make_action_code("HICDRY"))
    expect(word).to_have_text("Card read")
    expect(page.locator("[data-live-part]")).to_contain_text(shop.closed)
    scan(page, shop.unknown)
    expect(word).to_have_text("When was it opened?")
    page.get_by_role("button", name="nobody knows when").click()
    expect(word).to_have_text("Opening recorded")
    expect(page.locator(".desk-answer")).to_contain_text("since it was last known closed")
