"""Counting a place in a real browser: a scanner that types and presses Enter, and number keys."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import NewServer, nothing_more
from tests.browser.live_server import LiveServer
from tests.browser.scanner import scan_in_focus
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "tablet": (1024, 768), "wall": (1920, 1080)}


@pytest.fixture
def live(new_server: NewServer) -> tuple[LiveServer, Workshop]:
    """A server over a small workshop of this test's own."""
    return new_server(nothing_more)


def says(page: Page, words: str) -> None:
    """Wait for what the desk answers."""
    expect(page.locator(".desk-answer")).to_contain_text(words)


def number_of(page: Page, words: str) -> str:
    """Return the number that a choice is keyed in by."""
    choice = page.locator(".desk-choices button", has_text=words)
    expect(choice).to_have_count(1)
    return choice.locator("kbd").inner_text()


def test_a_place_is_counted_from_its_sign_to_the_log(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Scan the place, what is in it, a misread, one that is dry on record; decide about what is
    missing; record by badge; the carrier's page then tells it."""
    server, shop = live
    page.goto(f"{server.url}/count")
    expect(page.get_by_label("Scan the place")).to_be_focused()
    page.keyboard.type(shop.line)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Count: Line 1")).to_be_visible()
    for code in (shop.usable, shop.short):
        scan_in_focus(page, code)
        says(page, code)
    expect(page.locator(".figures")).to_contain_text("2 of 4")
    scan_in_focus(page, shop.opened[:-1] + "?")
    says(page, "Code not valid")
    scan_in_focus(page, shop.drying)
    says(page, "Since when is it here?")
    scan_in_focus(page, "99:99")
    says(page, "is not a time")
    scan_in_focus(page, number_of(page, "Nobody knows"))
    says(page, "nobody knows since when")

    scan_in_focus(page, number_of(page, "decide about"))
    says(page, "Where is it?")
    scan_in_focus(page, number_of(page, "Not found"))
    says(page, "held for quality")
    scan_in_focus(page, number_of(page, "decide about"))
    scan_in_focus(page, shop.bench)
    says(page, "moves to Bench")
    expect(page.locator(".will li")).to_have_count(3)
    scan_in_focus(page, number_of(page, "record the count"))
    says(page, "Who has counted?")
    scan_in_focus(page, shop.people[0])
    page.wait_for_url(re.compile(r"/count/done/"))
    expect(page.locator("h1")).to_have_text("Line 1 is counted")
    expect(page.locator("tbody tr")).to_have_count(3)
    page.get_by_role("link", name=shop.drying).press("Enter")
    expect(page.locator(".figures")).to_contain_text("exposed")
    expect(page.locator("#log")).to_contain_text("found when Line 1 was counted")
    expect(page.locator("#log")).to_contain_text("Mira")


def test_a_running_count_survives_the_server_and_the_browser(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """The server is gone while somebody scans: the scan waits on the screen and is sent again; a
    reload shows all that was scanned."""
    server, shop = live
    page.goto(f"{server.url}/count/{shop.line}")
    scan_in_focus(page, shop.usable)
    says(page, "Counted")
    server.kill()
    scan_in_focus(page, shop.short)
    expect(page.locator("[data-desk-unsent]")).to_contain_text("NOT SAVED YET")
    server.start()
    says(page, shop.short)
    page.reload()
    expect(page.locator(".figures")).to_contain_text("2 of 4")
    scan_in_focus(page, shop.opened)
    says(page, "Counted")
    expect(page.locator(".figures")).to_contain_text("3 of 4")


def test_a_tap_leaves_out_what_was_scanned_by_mistake(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Without a scanner: buttons do the same, and the field has the focus again."""
    server, shop = live
    page.goto(f"{server.url}/count/{shop.bench}")
    scan_in_focus(page, shop.usable)
    says(page, "Not where the log has it")
    page.get_by_role("button", name=f"Leave out {shop.usable}").click()
    says(page, "Left out")
    expect(page.locator(".will")).to_have_count(0)
    scan_in_focus(page, shop.closed)
    says(page, "See that its bag is closed")
    page.get_by_role("button", name=f"{shop.closed} is open").click()
    says(page, "Open since when?")
    page.get_by_role("button", name="60 minutes ago").click()
    says(page, "was opened")


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_it_fits_the_screen(
    page: Page, live: tuple[LiveServer, Workshop], size: tuple[int, int], tmp_path: Path
) -> None:
    """Nothing is wider than the screen, on the list, in a count and after it."""
    server, shop = live
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(f"{server.url}/count/{shop.line}")
    scan_in_focus(page, shop.drying)
    says(page, "Since when is it here?")
    pages = [f"/count/{shop.line}", "/count"]
    scan_in_focus(page, number_of(page, "Just now"))
    scan_in_focus(page, number_of(page, "Hold all"))
    scan_in_focus(page, shop.people[0])
    scan_in_focus(page, number_of(page, "record the count"))
    page.wait_for_url(re.compile(r"/count/done/"))
    pages.append(page.url.removeprefix(server.url))
    for path in pages:
        page.goto(server.url + path)
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= size[0], path
        page.screenshot(path=tmp_path / "shot.png", full_page=True)
