"""The watch list by keyboard alone, and honest when the server is gone."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import NewServer, nothing_more
from tests.browser.live_server import LiveServer
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser


def test_the_list_is_searched_from_the_keyboard(
    page: Page, shared: tuple[LiveServer, Workshop]
) -> None:
    """The key / goes to the field, words narrow the list, Enter goes to the first find."""
    server, shop = shared
    page.goto(f"{server.url}/watch")
    expect(page.locator("[data-live-state=live]")).to_be_visible()
    everything = page.locator("[data-words]:visible").count()
    page.keyboard.press("/")
    page.keyboard.type("wb-mem s-1")
    expect(page.locator("[data-words]:visible")).to_have_count(1)
    with page.expect_response("**/watch/data"):
        pass
    expect(page.locator("[data-words]:visible")).to_have_count(1)
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/carriers/{shop.short}")
    page.goto(f"{server.url}/watch")
    page.keyboard.press("/")
    page.keyboard.type("nothing has this")
    expect(page.locator("[data-none-found]")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("[data-words]:visible")).to_have_count(everything)


def test_the_list_is_limited_to_a_place(page: Page, shared: tuple[LiveServer, Workshop]) -> None:
    """Choosing a place shows what is there, and the refresh keeps to it."""
    server, shop = shared
    page.goto(f"{server.url}/watch")
    page.select_option("#place", shop.cabinet)
    page.wait_for_url(f"**/watch?place={shop.cabinet}")
    with page.expect_response(f"**/watch/data?place={shop.cabinet}"):
        pass
    expect(page.locator("[data-words]")).to_have_count(1)
    expect(page.locator("[data-words]")).to_contain_text(shop.drying)


def test_a_killed_server_is_said_within_ten_seconds(page: Page, new_server: NewServer) -> None:
    """The same band as on the wall."""
    server, _ = new_server(nothing_more)
    page.goto(f"{server.url}/watch")
    expect(page.locator("[data-live-state=live]")).to_be_visible()
    server.kill()
    expect(page.locator(".band-gone")).to_be_visible(timeout=10_000)
    expect(page.locator(".band-gone")).to_contain_text("NO CONNECTION TO SERVER")


def test_without_scripts_the_list_says_as_of_when(
    page: Page, shared: tuple[LiveServer, Workshop]
) -> None:
    """A browser that runs no scripts shows the list, its moment, and a button for the filter."""
    server, _ = shared
    assert page.context.browser is not None
    plain = page.context.browser.new_context(java_script_enabled=False)
    quiet = plain.new_page()
    quiet.goto(f"{server.url}/watch")
    expect(quiet.locator(".band-plain")).to_contain_text("the numbers are as of")
    expect(quiet.locator("[data-send-button]")).to_be_visible()
    plain.close()
