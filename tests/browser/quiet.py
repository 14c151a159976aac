"""A page in a fresh browser, whose scripts must not complain."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Browser, Page, ViewportSize

TABLET = ViewportSize(width=1024, height=768)

# Without a printer, what is asked to be printed is only counted.
COUNT_PRINTS = "window.print = () => { top.prints = (top.prints || 0) + 1; };"


@contextmanager
def quiet_page(chromium: Browser, script: str = "", **options: Any) -> Iterator[Page]:
    """Open an empty page; anything a script complains about fails the test.

    Args:
        script: runs before those of each page.
        options: of the browser, as Playwright names them; a tablet's size if none are given.
    """
    complaints: list[str] = []
    context = chromium.new_context(**(options or {"viewport": TABLET}))
    page = context.new_page()
    if script:
        page.add_init_script(script)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    yield page
    context.close()
    assert complaints == []
