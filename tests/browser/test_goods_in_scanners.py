"""Goods-in takes what scanners and cameras of any make send, or says what to set on them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.goods_desk import (
    EOT,
    GS,
    RS,
    UNDO,
    label,
    line,
    opened,
    scan,
    title,
)
from tests.browser.live_server import LiveServer
from tests.pictures import bench, symbol, taken
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser


@pytest.fixture
def desk(chromium: Browser, shared: tuple[LiveServer, Workshop]) -> Iterator[Page]:
    """The goods-in screen on a tablet; anything a script complains about fails the test."""
    yield from opened(chromium, shared[0])


@pytest.mark.parametrize("way", ["control", "tab", "function", "alt"])
def test_scanners_that_type_keys_for_the_separators(desk: Page, way: str) -> None:
    """Ctrl with a sign, tabs, function keys, Alt and digits: common practice, no source."""
    keys = {
        "control": {RS: "Control+^", GS: "Control+]", EOT: "Control+d"},
        "tab": {RS: "Tab", GS: "Tab", EOT: "Tab"},
        "function": {RS: "F7", GS: "F8", EOT: "F9"},
        "alt": {RS: "030", GS: "029", EOT: "004"},
    }[way]
    for sign in label(f"GI-{way}"):
        if sign not in keys:
            desk.keyboard.type(sign)
        elif way == "alt":
            desk.keyboard.down("Alt")
            for digit in keys[sign]:
                desk.keyboard.press(f"Numpad{digit}")
            desk.keyboard.up("Alt")
        else:
            desk.keyboard.press(keys[sign])
    expect(desk.locator("#goods-code")).to_be_focused()
    desk.keyboard.press("Enter")
    line(desk, "Lot", f"GI-{way}")
    line(desk, "Quantity", "500")
    expect(desk.locator("[data-cautions]")).to_be_hidden()


def test_a_scanner_that_drops_the_separators_is_refused_with_what_to_do(desk: Page) -> None:
    scan(desk, re.sub(r"[\x00-\x1f]", "", label("GI-Z1")))
    title(desk, "Not taken")
    expect(desk.locator("[data-message]")).to_contain_text("run together")
    expect(desk.locator("[data-message]")).to_contain_text("Set the scanner to send")
    scan(desk, "PWB-PRS-3", end="Tab")
    line(desk, "Part", "WB-PRS-3 Pressure front end")


def test_a_photo_does_for_a_scanner(desk: Page, tmp_path: Path) -> None:
    """A 2D label; then a picture with bars, of which all are taken; then one with nothing."""
    picture = tmp_path / "label.jpg"
    picture.write_bytes(taken(bench(symbol(label("GI-F1"), "DataMatrix")), 4))
    camera = desk.locator("[data-photo] input")
    camera.set_input_files(picture)
    line(desk, "Lot", "GI-F1")
    scan(desk, UNDO)
    title(desk, "Dropped")
    bars = [symbol(text, "Code128", 3) for text in ("PWB-PRS-3", "Q500", "1TGI-F2")]
    picture.write_bytes(taken(bench(*[bar.resize((bar.width, 110)) for bar in bars])))
    camera.set_input_files(picture)
    desk.get_by_role("button", name="All of them").click()
    line(desk, "Lot", "GI-F2")
    title(desk, "What are the parts in?")
    picture.write_bytes(taken(bench()))
    camera.set_input_files(picture)
    expect(desk.locator(".photo-told")).to_contain_text("No code can be read")
