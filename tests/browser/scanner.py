"""A scanner in a browser: it types what it reads and presses Enter."""

from __future__ import annotations

from playwright.sync_api import Page, expect


def scan(page: Page, *codes: str) -> None:
    """Type codes wherever the focus is, as fast as a scanner does, one straight after the other."""
    for code in codes:
        page.keyboard.type(code, delay=5)
        page.keyboard.press("Enter")


def scan_in_focus(page: Page, code: str) -> None:
    """Scan once the page's own field for it has the focus, as it must after every answer."""
    expect(page.locator("input[autofocus]")).to_be_focused()
    scan(page, code)
