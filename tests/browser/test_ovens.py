"""A load of an oven from the scanner to the start and the end, with the mistakes on the way."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect

from msdtrack.printing.codes import make_action_code
from msdtrack.services import receiving
from msdtrack.services.receiving import NewCarrier
from tests.browser.conftest import NewServer
from tests.browser.live_server import LiveServer
from tests.browser.scanner import scan
from tests.web.workshop import Workshop, record

pytestmark = pytest.mark.browser

HOUR_S = 3600


class Trays:
    """Three trays of level 5, put into a workshop: two long open, one in its bag."""

    def __call__(self, shop: Workshop) -> None:
        sealed_on = datetime.fromtimestamp(shop.now, UTC).date() - timedelta(days=40)
        self.codes = []
        for number in range(3):
            new = NewCarrier(
                "WB-CND-5", f"T-{number}", 50, "tray", sealed_on=sealed_on, place=shop.store,
                received_at=shop.now - 20 * 24 * HOUR_S,
            )  # fmt: skip
            self.codes.append(receiving.receive(new, shop.now)[0].code)
        for code in self.codes[:2]:
            record(code, "open", shop.now - 80 * HOUR_S, shop.now, place=shop.line)


def test_a_load_by_keyboard_alone(page: Page, new_server: NewServer) -> None:
    """Scan, mistake, leave out, start, and it bakes; the field never loses the focus."""
    trays = Trays()
    server, shop = new_server(trays)
    one, other, bagged = trays.codes
    page.goto(f"{server.url}/ovens/{shop.oven}")
    word = page.locator(".desk-answer .verdict-word")
    scan(page, one)
    expect(word).to_have_text("In the load")
    scan(page, "C000001Z")
    expect(word).to_have_text("Code not valid")
    scan(page, bagged)
    expect(word).to_have_text("Can't go in")
    expect(page.locator("[data-desk-part]")).to_contain_text("Open it first")
    scan(page, "1")
    expect(word).to_have_text("Load made smaller")
    scan(page, other)
    expect(page.get_by_role("heading", name="Load of 2")).to_be_visible()
    expect(page.locator(".bake-big")).to_contain_text("125 °C")
    expect(page.locator(".cautions").first).to_contain_text("Plastic carriers warp or melt")
    page.reload()
    expect(page.get_by_role("heading", name="Load of 2")).to_be_visible()
    scan(page, make_action_code("BAKE125"))
    expect(word).to_have_text("Bake started")
    for code in (one, other):
        expect(page.locator("[data-live-part]")).to_contain_text(code)
    expect(page.locator("#desk-code")).to_be_focused()


def test_taking_out_too_early_is_asked_first(page: Page, new_server: NewServer) -> None:
    """It says that nothing is reset; leaving all in keeps the bake; the number ends it."""
    server, shop = new_server(lambda _: None)
    page.goto(f"{server.url}/ovens/{shop.oven}")
    word = page.locator(".desk-answer .verdict-word")
    scan(page, shop.baking)
    expect(word).to_have_text("Not complete")
    expect(page.locator(".desk-answer")).to_contain_text("resets nothing")
    page.get_by_role("button", name="Leave all in the oven").click()
    expect(word).to_have_text("Ready")
    expect(page.locator("[data-live-part]")).to_contain_text(shop.baking)
    scan(page, shop.baking)
    expect(word).to_have_text("Not complete")
    scan(page, "1")
    expect(word).to_have_text("Bake ended")
    expect(page.locator("[data-live-part]")).not_to_contain_text(shop.baking)


def test_scans_faster_than_the_server_are_all_taken(page: Page, new_server: NewServer) -> None:
    """Three codes in a row, none waits for an answer, none is lost."""
    trays = Trays()
    server, shop = new_server(trays)
    page.goto(f"{server.url}/ovens/{shop.oven}")
    for code in trays.codes:
        scan(page, code)
    expect(page.get_by_role("heading", name="Load of 3")).to_be_visible()


def test_a_scan_that_the_server_did_not_hear_is_kept(page: Page, new_server: NewServer) -> None:
    """It stands on the screen, and is sent when the server is back."""
    trays = Trays()
    server, shop = new_server(trays)
    page.goto(f"{server.url}/ovens/{shop.oven}")
    server.kill()
    scan(page, trays.codes[0])
    band = page.locator("[data-desk-unsent]")
    expect(band).to_be_visible(timeout=10_000)
    expect(band).to_contain_text(trays.codes[0])
    server.start()
    expect(page.get_by_role("heading", name="Load of 1")).to_be_visible(timeout=15_000)
    expect(band).to_be_hidden()


def test_a_field_without_focus_says_so(page: Page, shared: tuple[LiveServer, Workshop]) -> None:
    """A tap brings it back; from what is no field the first character of a scan does."""
    server, _ = shared
    page.goto(f"{server.url}/shift")
    page.locator("#place").focus()
    expect(page.locator("[data-desk-deaf]")).to_be_visible()
    page.locator("[data-desk-deaf]").click()
    expect(page.locator("#desk-code")).to_be_focused()
    expect(page.locator("[data-desk-deaf]")).to_be_hidden()
    page.locator("a", has_text="Watch").first.focus()
    page.keyboard.type("C0")
    expect(page.locator("#desk-code")).to_have_value("C0")


@pytest.mark.parametrize(("width", "height"), [(1920, 1080), (1024, 768), (390, 844)])
def test_nothing_is_wider_than_the_screen(
    page: Page, shared: tuple[LiveServer, Workshop], width: int, height: int
) -> None:
    """On a wall, a tablet and a phone."""
    server, shop = shared
    page.set_viewport_size({"width": width, "height": height})
    for path in (
        "/ovens", f"/ovens/{shop.oven}?carrier={shop.expired}&carrier={shop.closed}", "/cabinets",
        f"/cabinets/{shop.cabinet}", "/shift", "/closing",
    ):  # fmt: skip
        page.goto(server.url + path)
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert over <= 0, path


def test_the_clock_to_the_reset_runs(page: Page, shared: tuple[LiveServer, Workshop]) -> None:
    """In the cabinet the time until the floor life is whole counts down."""
    server, shop = shared
    page.goto(f"{server.url}/cabinets/{shop.cabinet}")
    clock = page.locator("[data-fine]").first
    expect(clock).to_have_text(re.compile(r"5 h 5\d min|6 h 00 min"))


def test_the_closing_form_remembers_its_makers(
    page: Page, shared: tuple[LiveServer, Workshop]
) -> None:
    """What bag and desiccant are stays in the browser; another bag asks for its size."""
    server, shop = shared
    page.goto(f"{server.url}/closing")
    expect(page.locator("#width_mm")).to_be_hidden()
    page.fill("#wvtr", "0.02")
    page.fill("#unit_g", "2")
    page.select_option("#size", "other")
    page.fill("#width_mm", "254")
    page.fill("#length_mm", "508")
    page.locator("#carrier").focus()
    page.keyboard.type(shop.opened)
    page.keyboard.press("Enter")
    expect(page.locator("#needed")).to_contain_text("15 units")
    expect(page.get_by_role("button", name="Print the closing label")).to_be_visible()
    page.goto(f"{server.url}/closing")
    expect(page.locator("#wvtr")).to_have_value("0.02")
