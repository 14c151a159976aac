"""Every page on the three screens it is made for: fits, can be hit with a glove, can be read."""

from __future__ import annotations

import dataclasses

import pytest
from playwright.sync_api import Page, ViewportSize, expect

from msdtrack.printing.codes import make_action_code
from tests.browser.live_server import LiveServer
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser

PAGES = (
    "/", "/line", "/line/{line}", "/watch", "/carriers", "/carriers/{usable}",
    "/carriers/{expired}", "/receive", "/receive/{usable}", "/parts", "/parts/new",
    "/parts/WB-PRS-3", "/places", "/places/new", "/places/{line}", "/alarms", "/tables", "/setup",
    "/plan", "/nowhere",
)  # fmt: skip
SCREENS = {
    "wall": ViewportSize(width=1920, height=1080),
    "tablet": ViewportSize(width=1024, height=768),
    "phone": ViewportSize(width=390, height=844),
}

# Buttons, fields and their labels smaller than 44 pixels in height.
SMALL = """() => [...document.querySelectorAll('button, .button, select, summary, nav a, input')]
  .filter((e) => e.checkVisibility() && !['checkbox', 'radio', 'hidden'].includes(e.type))
  .filter((e) => e.getBoundingClientRect().height < 43.9)
  .map((e) => e.outerHTML.slice(0, 80))"""

# Text whose contrast with what is behind it is too low.
FAINT = """() => {
  const linear = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const light = (rgb) =>
    rgb.slice(0, 3).reduce((sum, v, i) => sum + [0.2126, 0.7152, 0.0722][i] * linear(v / 255), 0);
  const numbers = (text) => text.match(/[\\d.]+/g).map(Number);
  const behind = (e) => {
    for (; e; e = e.parentElement) {
      const colour = numbers(getComputedStyle(e).backgroundColor);
      if (colour.length === 3 || colour[3] === 1) return colour;
    }
    return [255, 255, 255];
  };
  const faint = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    const apart = e.closest('svg, script, noscript, [disabled], option');
    if (!walk.currentNode.data.trim() || !e.checkVisibility() || apart) continue;
    const style = getComputedStyle(e);
    const [a, b] = [light(numbers(style.color)), light(behind(e))];
    const contrast = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    if (contrast < (large ? 3 : 4.5))
      faint.push(`${contrast.toFixed(2)} ${e.outerHTML.slice(0, 90)}`);
  }
  return faint;
}"""


def _open(page: Page, shared: tuple[LiveServer, Workshop], path: str) -> None:
    server, shop = shared
    page.goto(server.url + path.format(**dataclasses.asdict(shop)))
    page.evaluate("document.fonts.ready")


@pytest.mark.parametrize("screen", SCREENS)
def test_every_page_fits_and_can_be_hit(
    screen: str, page: Page, shared: tuple[LiveServer, Workshop]
) -> None:
    """Nothing reaches beyond the screen's side, and what can be pressed is 44 pixels high."""
    page.set_viewport_size(SCREENS[screen])
    problems = []
    for path in PAGES:
        _open(page, shared, path)
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > SCREENS[screen]["width"]:
            problems.append(f"{path}: {width} px wide")
        if screen != "wall":
            problems += [f"{path}: small {each}" for each in page.evaluate(SMALL)]
    assert problems == []


@pytest.mark.parametrize("screen", ["wall", "phone"])
def test_every_text_can_be_read(
    screen: str, page: Page, shared: tuple[LiveServer, Workshop]
) -> None:
    """The contrast of text is 4.5:1, of large text 3:1.

    Source: WCAG 2.2, success criterion 1.4.3 (AA).
    """
    page.set_viewport_size(SCREENS[screen])
    problems = []
    for path in PAGES:
        _open(page, shared, path)
        problems += [f"{path}: {each}" for each in page.evaluate(FAINT)]
    assert problems == []


def test_no_page_breaks_its_own_policy(page: Page, shared: tuple[LiveServer, Workshop]) -> None:
    """Nothing is blocked, missing or wrong in the browser's console."""
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type in
            ("error", "warning") else None)  # fmt: skip
    for path in PAGES[:-1]:
        _open(page, shared, path)
    assert said == []


def test_the_focus_can_be_seen(page: Page, shared: tuple[LiveServer, Workshop]) -> None:
    """Tab reaches the content first, then the navigation, each with a frame around it."""
    _open(page, shared, "/carriers")
    page.keyboard.press("Tab")
    expect(page.locator(".skip")).to_be_focused()
    expect(page.locator(".skip")).to_be_in_viewport()
    for _ in range(12):
        page.keyboard.press("Tab")
        style = page.evaluate(
            "(() => { const s = getComputedStyle(document.activeElement);"
            " return [s.outlineStyle, parseFloat(s.outlineWidth)]; })()"
        )
        assert style[0] == "solid"
        assert style[1] >= 3


def test_the_scanner_test_names_what_came_wrong(
    page: Page, shared: tuple[LiveServer, Workshop]
) -> None:
    """A scanner types and presses Enter: right passes, a moved key is named."""
    _open(page, shared, "/setup")
    code = make_action_code("TEST")
    page.locator("#typed").focus()
    page.keyboard.type(code)
    page.keyboard.press("Enter")
    expect(page.locator("[data-scanner-good]")).to_contain_text("types every character right")
    page.keyboard.type(code.translate(str.maketrans("YZ", "ZY")))
    page.keyboard.press("Enter")
    expect(page.locator("[data-scanner-wrong]")).to_contain_text('"Y" for "Z"')
    expect(page.locator("[data-scanner-good]")).to_be_hidden()


def test_an_alarm_is_acknowledged_with_a_badge(
    page: Page, shared: tuple[LiveServer, Workshop]
) -> None:
    """The badge field has the focus; the scanner's Enter sends it; the name is on the button."""
    _, shop = shared
    _open(page, shared, "/alarms")
    expect(page.locator("#badge")).to_be_focused()
    page.keyboard.type(shop.people[1])
    page.keyboard.press("Enter")
    button = page.get_by_role("button", name="Acknowledge as Jonas").first
    button.press("Enter")
    expect(page.locator(".told")).to_contain_text("Acknowledged by Jonas")
