"""Alarms by keyboard alone: who, acknowledge, shelve, mend a slip, take off the shelf."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, ViewportSize, expect

from tests.browser.conftest import NewServer, nothing_more
from tests.browser.live_server import LiveServer
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser


def _tab_to(page: Page, words: str) -> None:
    """Go on with Tab until what has the focus says these words."""
    for _ in range(80):
        page.keyboard.press("Tab")
        if words in page.evaluate("document.activeElement.innerText || ''"):
            return
    raise AssertionError(f"Tab never comes to {words!r}")


def at_the_alarms(page: Page, new_server: NewServer) -> tuple[LiveServer, Workshop]:
    """Open the alarms of a workshop, a badge scanned."""
    server, shop = new_server(nothing_more)
    page.goto(f"{server.url}/alarms")
    expect(page.locator("#badge")).to_be_focused()
    page.keyboard.type(shop.people[0])
    page.keyboard.press("Enter")
    expect(page.locator(".who")).to_contain_text("You are Mira")
    return server, shop


def test_an_alarm_is_acknowledged_and_another_shelved_by_keyboard(
    page: Page, new_server: NewServer
) -> None:
    """Badge, Tab and Enter; an empty reason and too many hours are said where they stand."""
    at_the_alarms(page, new_server)
    rows = page.locator("table.alarms").first.locator("tbody tr")
    count = rows.count()

    _tab_to(page, "Acknowledge as Mira")
    page.keyboard.press("Enter")
    expect(page.locator(".told")).to_contain_text("Acknowledged by Mira")

    _tab_to(page, "Shelve")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("baked tonight, oven is booked")
    page.keyboard.press("Tab")
    page.keyboard.press("Control+A")
    page.keyboard.type("30")
    page.keyboard.press("Enter")
    expect(page.locator(".wrong")).to_have_text("At most 8.")
    hours = page.locator("input[aria-invalid=true]")
    expect(hours).to_have_value("30")
    hours.focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("2")
    page.keyboard.press("Enter")
    expect(page.locator(".told")).to_contain_text("Shelved by Mira. It comes back by itself")
    expect(rows).to_have_count(count - 1)
    shelved = page.locator("table.alarms").nth(1).locator("tbody tr")
    expect(shelved).to_have_count(1)
    expect(shelved).to_contain_text("Shelved")
    expect(shelved).to_contain_text("baked tonight, oven is booked")

    _tab_to(page, "Take off the shelf as Mira")
    page.keyboard.press("Enter")
    expect(page.locator(".told")).to_contain_text("Taken off the shelf by Mira: it stands.")
    expect(rows).to_have_count(count)


def test_a_page_is_acknowledged_together_by_keyboard(page: Page, new_server: NewServer) -> None:
    """Tab to what stands before the list, look, then press; a scanner's Enter only opens it."""
    at_the_alarms(page, new_server)
    shown = page.locator("table.alarms tbody tr")
    count = shown.count()
    assert count > 1

    _tab_to(page, f"Acknowledge these {count}")
    page.keyboard.press("Enter")
    told = page.locator(".together")
    expect(told).to_contain_text(f"The {count} unacknowledged alarms of the list below")
    expect(page.locator("table.alarms button", has_text="Acknowledge")).to_have_count(count)
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator(".told")).to_contain_text(f"{count} alarms acknowledged by Mira.")
    expect(page.locator("table.alarms button", has_text="Acknowledge")).to_have_count(0)
    expect(told).to_have_count(0)
    expect(page.locator("#find")).to_be_focused()


def test_a_scanned_carrier_shows_its_alarm_alone(page: Page, new_server: NewServer) -> None:
    """Badge and label from the scanner, Tab and Enter; the address keeps what was scanned."""
    server, shop = at_the_alarms(page, new_server)
    expect(page.locator("#find")).to_be_focused()
    page.keyboard.type(shop.expired)
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{server.url}/alarms?find={shop.expired}")
    rows = page.locator("table.alarms tbody tr")
    expect(rows).to_have_count(1)
    expect(rows).to_contain_text("Floor life over")
    _tab_to(page, "Acknowledge as Mira")
    page.keyboard.press("Enter")
    expect(page.locator(".told")).to_contain_text("Acknowledged by Mira")
    expect(page).to_have_url(f"{server.url}/alarms?find={shop.expired}")
    expect(page.locator("#find")).to_be_focused()
    page.keyboard.type(shop.people[1])
    page.keyboard.press("Enter")
    expect(page.locator(".who")).to_contain_text("You are Jonas")


def test_what_is_told_is_in_view_on_a_phone(page: Page, new_server: NewServer) -> None:
    """Although the field below it has the focus, for the scanner."""
    page.set_viewport_size(ViewportSize(width=390, height=500))
    at_the_alarms(page, new_server)
    page.locator("table.alarms button", has_text="Acknowledge as Mira").first.click()
    told = page.locator("main > .told").first
    expect(told).to_contain_text("Acknowledged by Mira")
    expect(told).to_be_in_viewport(ratio=1)
    expect(page.locator("#find")).to_be_focused()


@pytest.mark.parametrize("width", [390, 1024, 1920])
def test_open_forms_fit_the_screen(page: Page, new_server: NewServer, width: int) -> None:
    """Nothing reaches beyond the side with every form open, and fingers hit what they mean."""
    server, _ = new_server(nothing_more)
    page.set_viewport_size(ViewportSize(width=width, height=844))
    page.goto(f"{server.url}/alarms")
    page.evaluate("document.querySelectorAll('details').forEach((e) => { e.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    scrolled = page.evaluate(
        "[...document.querySelectorAll('.scroll')].filter((e) => e.scrollWidth > e.clientWidth + 1)"
        ".length"
    )
    assert scrolled == 0 or width == 1024
    small = page.evaluate(
        "[...document.querySelectorAll('.alarms button, .alarms input:not([type=hidden]), summary, "
        ".together button')]"
        ".filter((e) => e.getBoundingClientRect().height < 43.9).length"
    )
    assert small == 0
