"""What screens poll is answered 304 until something changes, and tells them the time."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from flask.testing import FlaskClient

from msdtrack.exposure.state import USE_FIRST_BELOW_H
from msdtrack.services import climate
from msdtrack.services.climate import NewReading
from msdtrack.web.polling import REFRESH_S, FragmentCache
from tests.web.conftest import NOW, Clock
from tests.web.workshop import HOUR_S, Workshop, record


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
    """A fragment is made once for each version, and the oldest is forgotten."""
    made: list[int] = []

    def make() -> str:
        made.append(1)
        return f"made {len(made)}"

    def body(key: str, version: str) -> str:
        return cache.get(key, version, NOW, make).body

    cache = FragmentCache()
    assert body("line", "a") == body("line", "a") == "made 1"
    assert body("line", "b") == "made 2"
    for number in range(100):
        body(f"other {number}", "b")
    assert body("line", "b") == f"made {len(made)}"


def test_screens_that_ask_at_once_wait_for_the_one_computation() -> None:
    """Eight screens of a line at the same moment: it is made once, and all get it."""
    made: list[int] = []
    together = Barrier(8)
    cache = FragmentCache()

    def make() -> str:
        made.append(1)
        return "made"

    def ask(_: int) -> str:
        together.wait(10)
        return cache.get("line", "a", NOW, make).body

    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(ask, range(8))) == ["made"] * 8
    assert made == [1]


def test_a_screen_turns_with_the_first_clock_on_it() -> None:
    """Made anew when a clock ends, a row turns, or the clock was put back; not before."""
    cache = FragmentCache()
    on_it = f'<i data-ends-at="{NOW - 5}"></i><i data-ends-at="{NOW + 9}"></i>'
    on_it += f'<li data-turns-at="{NOW + 7}"></li>'
    first = cache.get("line", "a", NOW, lambda: on_it)
    assert (first.made_at, first.until) == (NOW, NOW + 7)
    assert cache.get("line", "a", NOW + 6, lambda: "new") is first
    assert cache.get("line", "a", NOW + 7, lambda: on_it).until == NOW + 8
    assert cache.get("line", "a", NOW + 8, lambda: on_it).until == NOW + 9
    assert cache.get("line", "a", NOW + 9, lambda: on_it).until == NOW + 10
    cache.get("line", "a", NOW + 10, lambda: "new")
    assert cache.get("line", "a", NOW + 10 + REFRESH_S - 1, lambda: "newer").body == "new"
    assert cache.get("line", "a", NOW + 10 + REFRESH_S, lambda: "newer").body == "newer"
    assert cache.get("line", "a", NOW, lambda: "put back").body == "put back"


def test_what_is_to_be_used_first_says_so_at_the_next_look(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """The mark changes when less than 8 h are left, and when none is, though nothing was written.

    Eight hours: site practice, a shift.
    """
    path = f"/line/{shop.line}/data"

    def asked(at: int) -> tuple[str, str]:
        """Return the row and the tag after a reading that came a little before."""
        climate.add_readings([NewReading(shop.line, at - 1, 24.5, 47.0)], at)
        wall_clock.now = at
        answer = browser.get(path)
        return _row_of(shop.usable, answer.text), answer.headers["ETag"]

    def moment(row: str, name: str) -> int:
        return int(row.split(f'data-{name}-at="')[1].split('"')[0])

    row, _ = asked(wall_clock.now)
    assert moment(row, "ends") - moment(row, "turns") == USE_FIRST_BELOW_H * HOUR_S - 1
    for name, before, after in (("turns", "Usable", "Use first"), ("ends", "Use first", "Bake")):
        row, tag = asked(moment(row, name) - 3)
        assert before in row
        turns_at = moment(row, name)
        wall_clock.now = turns_at - 1
        unchanged = browser.get(path, headers={"If-None-Match": tag})
        assert unchanged.status_code == 304
        wall_clock.now = turns_at + (name == "ends")
        changed = browser.get(path, headers={"If-None-Match": tag})
        assert after in _row_of(shop.usable, changed.text)


def _row_of(code: str, body: str) -> str:
    (row,) = (each for each in body.split("<li ") if code in each)
    return row
