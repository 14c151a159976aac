"""What screens poll is answered 304 until something changes, and tells them the time."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from msdtrack.services import climate
from msdtrack.services.climate import NewReading
from msdtrack.web.polling import REFRESH_S, FragmentCache
from tests.web.conftest import Clock
from tests.web.workshop import Workshop, record


@pytest.mark.parametrize("path", ["/line/{line}/data", "/watch/data", "/watch/data?place={line}"])
def test_an_unchanged_screen_is_not_sent_again(
    path: str, browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """The same tag gets 304 without content, and the server's time all the same."""
    path = path.format(line=shop.line)
    first = browser.get(path)
    assert first.status_code == 200
    wall_clock.now += 5
    again = browser.get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
    assert again.data == b""
    assert again.headers["X-Server-Time"] == str(wall_clock.now)
    assert again.headers["X-Page-Version"] == first.headers["X-Page-Version"]


def test_a_new_event_shows_at_the_next_look(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """Any write changes the tag, and the answer is made anew."""
    before = browser.get("/watch/data")
    assert shop.closed not in before.text
    record(shop.closed, "open", wall_clock.now, wall_clock.now, hic={"5": "dry"})
    after = browser.get("/watch/data", headers={"If-None-Match": before.headers["ETag"]})
    assert after.status_code == 200
    assert shop.closed in after.text


def test_a_new_reading_shows_at_the_next_look(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """The line screen shows the air that was just sent."""
    before = browser.get(f"/line/{shop.line}/data")
    wall_clock.now += 2
    climate.add_readings([NewReading(shop.line, wall_clock.now, 26.3, 55.0)], wall_clock.now)
    after = browser.get(
        f"/line/{shop.line}/data", headers={"If-None-Match": before.headers["ETag"]}
    )
    assert "26.3 °C" in after.text


def test_time_alone_renews_a_screen(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """Half a minute later the answer is made anew although nothing was written."""
    before = browser.get("/watch/data")
    wall_clock.now += REFRESH_S
    after = browser.get("/watch/data", headers={"If-None-Match": before.headers["ETag"]})
    assert after.status_code == 200
    assert after.headers["ETag"] != before.headers["ETag"]


def test_the_first_page_and_its_refresh_show_the_same(browser: FlaskClient, shop: Workshop) -> None:
    """The page holds the fragment that the script will replace."""
    fragment = browser.get(f"/line/{shop.line}/data").text
    assert fragment.strip() in browser.get(f"/line/{shop.line}").text


def test_screens_that_show_the_same_share_one_computation() -> None:
    """A fragment is made once for each tag, and the oldest is forgotten."""
    made: list[int] = []

    def make() -> str:
        made.append(1)
        return f"made {len(made)}"

    cache = FragmentCache()
    assert cache.get("line", "a", make) == cache.get("line", "a", make) == "made 1"
    assert cache.get("line", "b", make) == "made 2"
    for number in range(100):
        cache.get(f"other {number}", "b", make)
    assert cache.get("line", "b", make) == f"made {len(made)}"
