"""Names and reasons as long as they may be, without a blank: they break, the page fits."""

from __future__ import annotations

from uuid import uuid4

import pytest
from playwright.sync_api import Page

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import catalog, event_recording, receiving
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.receiving import NewCarrier
from tests.browser.conftest import NewServer
from tests.browser.test_pages import SCREENS
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser

NAME, REASON = "W" * 60, "R" * 1000


@pytest.mark.parametrize("screen", ["phone", "tablet"])
def test_every_page_still_fits(screen: str, page: Page, new_server: NewServer) -> None:
    """Headings, lists, the log and what is to be done."""
    addresses: list[str] = []

    def named_at_length(shop: Workshop) -> None:
        now = shop.now
        place, _ = catalog.create_place(catalog.NewPlace(name=NAME, kind="line"), now)
        catalog.create_part(PartFacts(NAME, "5a", body_mm=1.0), now)
        new = NewCarrier(part=NAME, lot="L" * 60, quantity=1000, kind="reel", place=place.code)
        received, _ = receiving.receive(new, now)
        code = received.code
        opened = NewEvent(str(uuid4()), code, "open")
        held = NewEvent(str(uuid4()), code, "hold", person=NAME, reason=REASON)
        event_recording.record([opened, held], now)
        places = (
            f"/places/{place.code}",
            f"/watch?place={place.code}",
            f"/shift?place={place.code}",
        )
        addresses.extend(("/", "/carriers", f"/carriers/{code}", "/line", "/watch", *places))
        addresses.append(f"/parts/{NAME}")

    server, _ = new_server(named_at_length)
    page.set_viewport_size(SCREENS[screen])
    problems = []
    for path in addresses:
        page.goto(server.url + path)
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > SCREENS[screen]["width"]:
            problems.append(f"{path}: {width} px wide")
    assert problems == []
