"""The goods-in screen in a browser: scan as a scanner does, answer, look, and see what came."""

from __future__ import annotations

import json
import re
import urllib.request
from collections.abc import Iterator
from urllib.parse import quote

from playwright.sync_api import Browser, Page, expect

from msdtrack.printing.codes import make_action_code
from tests.browser.live_server import LiveServer
from tests.browser.quiet import COUNT_PRINTS, quiet_page

GS, RS, EOT = "\x1d", "\x1e", "\x04"
DONE, UNDO = make_action_code("DONE"), make_action_code("UNDO")


def opened(chromium: Browser, server: LiveServer) -> Iterator[Page]:
    """Open the screen in a fresh browser."""
    with quiet_page(chromium, COUNT_PRINTS) as page:
        page.goto(f"{server.url}/goods-in")
        title(page, "Scan the label on the bag")
        yield page


def label(lot: str, **values: str) -> str:
    """Return a 2D label; `n1T` stands for identifier 1T."""
    given = {"P": "WB-PRS-3", "Q": "500", "n10D": "2436", "n1T": lot} | values
    fields = (f"{name.removeprefix('n')}{value}" for name, value in given.items() if value)
    return f"[)>{RS}06{GS}{GS.join(fields)}{RS}{EOT}"


def scan(page: Page, text: str, end: str = "Enter") -> None:
    """Type as a scanner does that sends the control characters as they are."""
    for piece in re.split(r"([\x00-\x1f])", text):
        if piece and ord(piece[0]) < 32:
            page.keyboard.insert_text(piece)
        else:
            page.keyboard.type(piece)
    page.keyboard.press(end)


def title(page: Page, text: str | re.Pattern[str]) -> None:
    """Wait until this is what the screen says or asks."""
    expect(page.locator("[data-title]")).to_have_text(text)


def line(page: Page, words: str, value: str | re.Pattern[str]) -> None:
    """Wait until a line of what was read says this."""
    expect(page.locator(f'[data-line="{words}"] b')).to_have_text(value)


def pause(page: Page) -> None:
    """Let a person look; an Enter sooner than that is a scanner's second line end."""
    page.wait_for_timeout(500)


def enter(page: Page) -> None:
    """Look, then press Enter alone."""
    pause(page)
    page.keyboard.press("Enter")


def answer(page: Page, question: str, text: str) -> None:
    """Answer a question by keys."""
    title(page, question)
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def usual(page: Page) -> None:
    """Answer everything about an ordinary bag, up to the read-back."""
    answer(page, "What are the parts in?", "1")
    usual_bag(page)


def usual_bag(page: Page) -> None:
    """Answer everything from the bag on."""
    answer(page, "Look at the dry bag: what is it like?", "1")
    answer(page, "Seal date on the bag?", "2024-09-04")
    title(page, "Floor life printed on the label, in hours?")
    enter(page)
    title(page, "Where do the bags go?")
    page.get_by_role("button", name="Store").click()
    title(page, "Is all of this right?")


def received(server: LiveServer, lot: str) -> list[dict[str, object]]:
    """Return the carriers of a lot."""
    url = f"{server.url}/api/v1/carriers?lot={quote(lot)}"
    with urllib.request.urlopen(url, timeout=10) as heard:
        return list(json.load(heard)["items"])


def put_part(server: LiveServer, number: str, msl: str) -> None:
    """Put a part on file."""
    body = json.dumps({"number": number, "description": "Tilt sensor", "msl": msl}).encode()
    wanted = urllib.request.Request(
        f"{server.url}/api/v1/parts", body, {"Content-Type": "application/json"}
    )
    urllib.request.urlopen(wanted, timeout=10).close()
