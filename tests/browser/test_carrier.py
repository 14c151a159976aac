"""One carrier from its receipt to its label, its past and its log, with no mouse."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Page, ViewportSize, expect

from tests.browser.live_server import LiveServer
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser


def test_a_carrier_is_received_by_keyboard(page: Page, shared: tuple[LiveServer, Workshop]) -> None:
    """The part field has the focus, Tab leads through, Enter sends, the label's button waits."""
    server, _ = shared
    page.goto(f"{server.url}/receive")
    expect(page.locator("#part")).to_be_focused()
    page.keyboard.type("WB-PRS-3")
    page.locator("#lot").focus()
    page.keyboard.type("KEYS-1")
    page.keyboard.press("Tab")
    page.keyboard.type("120")
    page.fill("#sealed_on", f"{datetime.now(UTC).date() - timedelta(days=20)}")
    page.locator("#quantity").focus()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/receive/C\w+"))
    expect(page.get_by_role("button", name="Print label")).to_be_focused()
    picture = page.locator(".label-picture")
    expect(picture).to_be_visible()
    assert picture.evaluate("e => e.complete && e.naturalWidth > 300")
    page.get_by_role("link", name="Another of the same lot").press("Enter")
    expect(page.locator("#lot")).to_have_value("KEYS-1")
    expect(page.locator("#quantity")).to_be_focused()


def test_only_the_fields_of_the_chosen_bag_show(
    page: Page, shared: tuple[LiveServer, Workshop]
) -> None:
    """A sealed bag has a seal date, an open one a time, an unknown one neither."""
    server, _ = shared
    page.goto(f"{server.url}/receive")
    for state, sealed, opened in (
        ("sealed", True, False), ("open", True, True), ("unknown", False, False),
    ):  # fmt: skip
        page.check(f"[name=bag_state][value={state}]")
        expect(page.locator("#sealed_on")).to_be_visible(visible=sealed)
        expect(page.locator("#opened_at")).to_be_visible(visible=opened)


def test_a_past_moment_is_asked_for_and_left(
    page: Page, shared: tuple[LiveServer, Workshop]
) -> None:
    """As of an hour before it was opened it is in its bag; back to now it is exposed."""
    server, shop = shared
    page.goto(f"{server.url}/carriers/{shop.usable}")
    expect(page.locator(".verdict")).to_contain_text("May be used")
    now = page.locator("#at").input_value()
    before = datetime.fromisoformat(now) - timedelta(hours=3)
    page.fill("#at", before.isoformat(timespec="minutes"))
    page.get_by_role("button", name="Show").press("Enter")
    expect(page.locator(".told")).to_contain_text("As of")
    expect(page.locator(".figures")).to_contain_text("in a closed dry bag")
    page.get_by_role("link", name="Back to now").press("Enter")
    expect(page.locator(".figures")).to_contain_text("exposed")


def test_a_cell_leads_to_its_table(page: Page, shared: tuple[LiveServer, Workshop]) -> None:
    """From the working one click shows the block that the figure stands in."""
    server, shop = shared
    page.goto(f"{server.url}/carriers/{shop.usable}")
    page.locator(".working a").first.click()
    page.wait_for_url("**/tables#derating_thin")
    expect(page.locator("#derating_thin")).to_be_in_viewport()


# What of the working lies beyond a side, or over another cell of its line.
HIDDEN = """() => {
  const boxes = [document.querySelector('#working'), ...document.querySelectorAll('.working-room')];
  const found = boxes.filter((e) => e.scrollWidth > e.clientWidth + 1).map((e) => e.className);
  for (const row of document.querySelectorAll('.working tr')) {
    const cells = [...row.cells].filter((e) => e.checkVisibility() && e.innerText);
    const rects = cells.map((e) => e.getBoundingClientRect());
    rects.forEach((a, i) => rects.slice(i + 1).forEach((b, j) => {
      const over = Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 &&
        Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1;
      if (over) found.push(`${cells[i].innerText} / ${cells[i + j + 1].innerText}`);
    }));
  }
  return found;
}"""


@pytest.mark.parametrize(
    ("width", "table"),
    [(360, False), (390, False), (768, False), (820, False), (1024, True), (1920, True)],
)
def test_a_working_is_read_without_moving_it_sideways(
    page: Page, shared: tuple[LiveServer, Workshop], width: int, table: bool
) -> None:
    """A table where it has room, else a block a line; each figure says what it is in both."""
    server, shop = shared
    page.set_viewport_size(ViewportSize(width=width, height=1180))
    for code in (shop.short, shop.baking, shop.drying):
        page.goto(f"{server.url}/carriers/{code}")
        page.evaluate(
            "document.querySelectorAll('#working details').forEach((e) => { e.open = true; })"
        )
        assert page.locator(".working tbody tr").count() > 0
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(HIDDEN) == []
        for head in page.locator(".working thead").all():
            expect(head).to_be_visible(visible=table)
        for cell in page.locator(".working .in-share").all():
            said = cell.evaluate("e => getComputedStyle(e, '::before').content")
            assert ("share" in said) is not table
