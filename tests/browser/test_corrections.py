"""Correcting the log in a real browser, from the carrier's log to its new state, by keys."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import NewServer, nothing_more
from tests.browser.live_server import LiveServer
from tests.web.workshop import Workshop, record

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "tablet": (1024, 768), "wall": (1920, 1080)}


def closed_unopened(shop: Workshop) -> None:
    """A bag was closed that was never opened on record."""
    record(
        shop.closed, "close", shop.now - 600, shop.now,
        desiccant="fresh", new_hic="fresh", seal="heat", person=shop.people[0],
    )  # fmt: skip


@pytest.fixture
def live(new_server: NewServer) -> tuple[LiveServer, Workshop]:
    """A server over a small workshop of this test's own."""
    return new_server(nothing_more)


def press(page: Page, name: str) -> None:
    """Press a button by the keyboard."""
    button = page.get_by_role("button", name=name, exact=True)
    button.focus()
    page.keyboard.press("Enter")


def test_an_opening_is_dated_back_and_the_correction_taken_back(
    page: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Without a name it is refused, then shown, changed, shown, made; and taken back."""
    server, shop = live
    page.goto(f"{server.url}/carriers/{shop.usable}")
    used = page.locator(".figures > div", has_text="Floor life used").locator("dd")
    before = float(used.inner_text().split("%")[0])
    page.locator("#log").get_by_role("link", name=re.compile("^Correct Opened")).press("Enter")
    expect(page.get_by_role("heading", name="Correct the log")).to_be_visible()
    then = datetime.fromisoformat(page.input_value("#at"))
    page.fill("#at", (then - timedelta(hours=2)).isoformat(timespec="minutes"))
    page.fill("#why", "scanned late")
    press(page, "Show what it changes")
    expect(page.locator(".findings")).to_be_visible()
    expect(page.locator("#who-wrong")).to_have_text("Fill this in.")
    expect(page.locator("#why")).to_have_value("scanned late")
    page.select_option("#who", shop.people[1])
    press(page, "Show what it changes")
    changed = page.locator("#change .is-changed", has_text="Floor life used")
    expect(changed).to_contain_text("changed")
    expect(page.locator("#change")).to_contain_text("Working after")

    page.fill("#at", (then - timedelta(hours=4)).isoformat(timespec="minutes"))
    press(page, "Put the correction on the log")
    expect(page.locator(".findings")).to_contain_text("look at it again")
    press(page, "Put the correction on the log")
    page.wait_for_url(re.compile(rf"/carriers/{shop.usable}"))
    expect(page.locator("#log")).to_contain_text("scanned late")
    after = float(used.inner_text().split("%")[0])
    assert after == pytest.approx(3 * before, abs=0.3)

    page.locator("#log").get_by_role("link", name=re.compile("^Take back")).press("Enter")
    page.select_option("#who", shop.people[1])
    page.fill("#why", "it was right")
    press(page, "Show what it changes")
    press(page, "Put the correction on the log")
    page.wait_for_url(re.compile(rf"/carriers/{shop.usable}"))
    assert float(used.inner_text().split("%")[0]) == pytest.approx(before, abs=0.2)
    expect(page.locator("#log tbody tr")).to_have_count(3)


def test_a_contradiction_is_settled_from_the_verdict(page: Page, new_server: NewServer) -> None:
    """ "Correct the log" in the verdict leads to the entry; struck out, it may be used again."""
    server, shop = new_server(closed_unopened)
    page.goto(f"{server.url}/carriers/{shop.closed}")
    expect(page.locator(".verdict")).to_contain_text("Log conflict")
    page.get_by_role("link", name="Correct the log.").press("Enter")
    page.get_by_label("It did not happen: strike it out").focus()
    page.keyboard.press("Space")
    expect(page.locator("#at")).to_be_hidden()
    page.select_option("#who", shop.people[0])
    page.fill("#why", "wrong reel")
    press(page, "Show what it changes")
    expect(page.locator("#change")).to_contain_text("No longer contradicts")
    expect(page.locator("#change .side-after")).to_contain_text("In dry bag")
    press(page, "Put the correction on the log")
    expect(page.locator(".verdict")).to_contain_text("May be used")
    expect(page.locator("#log")).to_contain_text("struck out")


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_it_fits_the_screen(
    page: Page, live: tuple[LiveServer, Workshop], size: tuple[int, int], tmp_path: Path
) -> None:
    """Nothing is wider than the screen, neither the form nor what it changes."""
    server, shop = live
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(f"{server.url}/carriers/{shop.usable}")
    page.locator("#log").get_by_role("link", name=re.compile("^Correct Opened")).press("Enter")
    expect(page.get_by_role("heading", name="Correct the log")).to_be_visible()
    for name in ("form", "preview"):
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= size[0], name
        page.screenshot(path=tmp_path / f"{name}.png", full_page=True)
        if name == "form":
            page.get_by_label("It did not happen: strike it out").check()
            page.select_option("#who", shop.people[0])
            page.fill("#why", "wrong reel")
            press(page, "Show what it changes")
            expect(page.locator("#change")).to_be_visible()
