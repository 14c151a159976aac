"""Goods-in in a real browser, from the scan of a supplier's label to our own, mistakes included."""

from __future__ import annotations

import json
import re
import urllib.error
import urllib.request
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import NewServer, nothing_more
from tests.browser.goods_desk import (
    DONE,
    UNDO,
    answer,
    enter,
    label,
    line,
    opened,
    put_part,
    received,
    scan,
    title,
    usual,
    usual_bag,
)
from tests.browser.live_server import LiveServer
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "tablet": (1024, 768), "wall": (1920, 1080)}


@pytest.fixture
def live(shared: tuple[LiveServer, Workshop]) -> tuple[LiveServer, Workshop]:
    """A server over a small workshop; each test receives lots of its own."""
    return shared


@pytest.fixture
def desk(chromium: Browser, live: tuple[LiveServer, Workshop]) -> Iterator[Page]:
    """The goods-in screen on a tablet; anything a script complains about fails the test."""
    yield from opened(chromium, live[0])


def test_from_the_suppliers_label_to_our_own(desk: Page, live: tuple[LiveServer, Workshop]) -> None:
    """Scan, answer, put mistakes right, confirm; two labels are printed."""
    server, shop = live
    scan(desk, label("GI-A1"))
    line(desk, "Part", "WB-PRS-3 Pressure front end")
    line(desk, "Lot", "GI-A1")
    answer(desk, "What are the parts in?", "1")
    # The wrong answer about the bag is changed later.
    answer(desk, "Look at the dry bag: what is it like?", "2")
    expect(desk.locator("[data-cautions]")).to_contain_text("baked before use")
    title(desk, "Floor life printed on the label, in hours?")
    enter(desk)
    # A place is scanned like anything else.
    title(desk, "Where do the bags go?")
    scan(desk, shop.store)
    title(desk, "Is all of this right?")
    line(desk, "Place", "Store")
    desk.get_by_role("button", name="Change: Dry bag").click()
    answer(desk, "Look at the dry bag: what is it like?", "1")
    title(desk, "Seal date on the bag?")
    expect(desk.locator("[data-options] button").nth(1)).to_contain_text("week 36 of '24")
    scan(desk, "2099-01-01")
    title(desk, "Not taken")
    expect(desk.locator("[data-message]")).to_contain_text("lies ahead")
    scan(desk, "20240910")
    title(desk, "Is all of this right?")
    line(desk, "Sealed on", "10 Sep 2024")
    line(desk, "Level", "MSL 3")
    line(desk, "Floor life", "168 h")
    expect(desk.locator("[data-cautions]")).not_to_contain_text("baked before use")
    # The next bag is scanned before this one is confirmed.
    scan(desk, label("GI-A2"))
    title(desk, "Not taken")
    expect(desk.locator("[data-message]")).to_contain_text("another bag")
    assert received(server, "GI-A1") == []
    with desk.expect_response(re.compile("/label$")) as printed:
        enter(desk)
    assert printed.value.headers["content-type"] == "application/pdf"
    title(desk, re.compile(r"^C\d{6}\w received$"))
    (carrier,) = received(server, "GI-A1")
    assert carrier["status"] == "in_dry_bag"
    assert carrier["place"] == shop.store
    assert carrier["quantity"] == 500
    desk.wait_for_function("window.prints === 1")
    expect(desk.locator("#goods-code")).to_be_focused()
    expect(desk.locator("[data-done] li")).to_have_count(1)


def test_more_bags_of_the_lot_need_only_their_scans(
    desk: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Scan, scan, scan: received at once, labels and all; what differs is asked."""
    server, _ = live
    scan(desk, label("GI-Y1", n3S="B1-1"))
    usual(desk)
    scan(desk, DONE)
    title(desk, re.compile("received$"))
    expect(desk.locator("[data-series]")).to_be_visible()
    for number in (2, 3, 4):
        scan(desk, label("GI-Y1", n3S=f"B1-{number}"))
    expect(desk.locator("[data-done] li")).to_have_count(4)
    expect(desk.locator("[data-message]")).to_contain_text("4 of this lot")
    assert len(received(server, "GI-Y1")) == 4
    # The same bag once more.
    scan(desk, label("GI-Y1", n3S="B1-2"))
    title(desk, re.compile("^B1-2 was received already, as C"))
    desk.keyboard.press("1")
    title(desk, "Nothing received")
    # A bag that is not like the last.
    desk.get_by_role("button", name="Next bag is different").click()
    scan(desk, label("GI-Y1", n3S="B1-5"))
    title(desk, "What are the parts in?")
    assert len(received(server, "GI-Y1")) == 4


def test_after_a_bad_bag_every_bag_is_looked_at(
    desk: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """A damaged bag is exposed and must be baked; the next of its lot is asked about again."""
    scan(desk, label("GI-D1", n3S="D1-1"))
    answer(desk, "What are the parts in?", "1")
    answer(desk, "Look at the dry bag: what is it like?", "2")
    title(desk, "Floor life printed on the label, in hours?")
    enter(desk)
    title(desk, "Where do the bags go?")
    desk.get_by_role("button", name="Store").click()
    title(desk, "Is all of this right?")
    expect(desk.locator("[data-cautions]")).to_contain_text("baked before use")
    enter(desk)
    title(desk, re.compile("received$"))
    expect(desk.locator("[data-series]")).to_be_hidden()
    (carrier,) = received(live[0], "GI-D1")
    assert (carrier["status"], carrier["verdict"]) == ("exposed", "do_not_use")
    scan(desk, label("GI-D1", n3S="D1-2"))
    title(desk, "What are the parts in?")


def test_one_label_scanned_twice_in_a_moment_is_one_bag(
    desk: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """Labels without a number of their own look alike; a trigger pulled twice is no second bag."""
    server, _ = live
    scan(desk, label("GI-T1"))
    usual(desk)
    enter(desk)
    title(desk, re.compile("received$"))
    scan(desk, label("GI-T1"))
    title(desk, "Scanned twice?")
    assert len(received(server, "GI-T1")) == 1
    desk.wait_for_timeout(3200)
    scan(desk, label("GI-T1"))
    expect(desk.locator("[data-done] li")).to_have_count(2)
    assert len(received(server, "GI-T1")) == 2


def test_single_bars_one_by_one(desk: Page, live: tuple[LiveServer, Workshop]) -> None:
    """Part, lot, quantity in any order; the screen says what is still to be scanned."""
    scan(desk, "Q250")
    title(desk, "Scan the part, then the lot")
    scan(desk, "]C0PWB-CND-5")
    title(desk, "Scan the lot")
    # A plain code, then the wrong bar of another label.
    scan(desk, "1TGI-S1")
    title(desk, "What are the parts in?")
    scan(desk, "1TGI-S2")
    title(desk, "Not taken")
    expect(desk.locator("[data-message]")).to_contain_text("Still asked: What are the parts in?")
    desk.keyboard.press("1")
    usual_bag(desk)
    scan(desk, DONE)
    title(desk, re.compile("received$"))
    assert len(received(live[0], "GI-S1")) == 1


def test_two_line_ends_do_not_confirm_what_nobody_has_seen(
    desk: Page, live: tuple[LiveServer, Workshop]
) -> None:
    scan(desk, label("GI-E1"))
    usual(desk)
    desk.get_by_role("button", name="Change: Quantity").click()
    title(desk, "How many pieces are in it?")
    desk.keyboard.type("320")
    desk.keyboard.press("Enter")
    desk.keyboard.press("Enter")
    title(desk, "Is all of this right?")
    line(desk, "Quantity", "320 (label: 500)")
    assert received(live[0], "GI-E1") == []
    enter(desk)
    title(desk, re.compile("received$"))
    assert [one["quantity"] for one in received(live[0], "GI-E1")] == [320]


def test_a_label_is_dropped_by_escape_twice(desk: Page, live: tuple[LiveServer, Workshop]) -> None:
    scan(desk, label("GI-X1"))
    title(desk, "What are the parts in?")
    desk.keyboard.press("Escape")
    title(desk, "Drop this label?")
    desk.keyboard.press("Escape")
    title(desk, "Dropped")
    scan(desk, label("GI-X2"))
    line(desk, "Lot", "GI-X2")
    scan(desk, UNDO)
    title(desk, "Dropped")
    assert received(live[0], "GI-X1") == received(live[0], "GI-X2") == []


def test_an_unknown_part_is_put_on_file_by_keys_alone(
    desk: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """The short form: number, level, thickness; the maker's number is known from then on."""
    scan(desk, label("GI-N1", P="", n1P="MK90-TMP", n13E="2A"))
    title(desk, "Which of our parts is MK90-TMP?")
    expect(desk.locator("#part")).to_be_focused()
    desk.keyboard.type("WB-TMP-9")
    expect(desk.locator("#new_msl")).to_have_value("2a")
    desk.keyboard.press("Tab")
    desk.keyboard.press("Tab")
    desk.keyboard.type("1,1")
    desk.keyboard.press("Tab")
    desk.keyboard.type("Water temperature")
    desk.keyboard.press("Enter")
    line(desk, "Part", "WB-TMP-9 Water temperature")
    usual(desk)
    enter(desk)
    title(desk, re.compile("received$"))
    with urllib.request.urlopen(f"{live[0].url}/api/v1/parts/WB-TMP-9", timeout=10) as heard:
        part = json.load(heard)
    assert (part["msl"], part["body_mm"]) == ("2a", 1.1)
    scan(desk, label("GI-N2", P="", n1P="MK90-TMP", n13E="2A"))
    line(desk, "Part", "WB-TMP-9 Water temperature")


def test_the_next_bar_of_the_label_puts_no_part_on_file(
    desk: Page, live: tuple[LiveServer, Workshop]
) -> None:
    """The field of the part number has the focus, and the level of the label stands there."""
    scan(desk, label("GI-B1", P="", n1P="MK90-BAR", n13E="5"))
    title(desk, "Which of our parts is MK90-BAR?")
    scan(desk, "10D2445")
    title(desk, "10D2445 is not on file")
    scan(desk, "WB-CND-5")
    line(desk, "Part", re.compile("^WB-CND-5"))
    title(desk, "What are the parts in?")
    with pytest.raises(urllib.error.HTTPError, match="404"):
        urllib.request.urlopen(f"{live[0].url}/api/v1/parts/10D2445", timeout=10)


def test_label_and_file_differ_and_a_person_decides(
    desk: Page, live: tuple[LiveServer, Workshop]
) -> None:
    server, shop = live
    scan(desk, label("GI-K1", n13E="4"))
    title(desk, "Level: the label says 4, the file 3. Which?")
    desk.get_by_role("button", name="stop and put the bag aside").click()
    title(desk, "Nothing received")
    scan(desk, label("GI-K1", n13E="4"))
    title(desk, "Level: the label says 4, the file 3. Which?")
    desk.keyboard.press("1")
    usual(desk)
    line(desk, "Level", "MSL 4")
    enter(desk)
    title(desk, re.compile("received$"))
    (carrier,) = received(server, "GI-K1")
    assert carrier["msl"] == "4"
    # Correcting the file takes a name: the badge is scanned.
    put_part(server, "WB-TIL-5", "5a")
    scan(desk, label("GI-K2", P="WB-TIL-5", n13E="5"))
    title(desk, "Level: the label says 5, the file 5a. Which?")
    desk.keyboard.press("2")
    answer(desk, "What are the parts in?", "2")
    answer(desk, "Look at the dry bag: what is it like?", "1")
    answer(desk, "Seal date on the bag?", "20240904")
    title(desk, "Floor life printed on the label, in hours?")
    enter(desk)
    title(desk, "Who corrects what is on file?")
    scan(desk, shop.people[0])
    title(desk, "Is all of this right?")
    enter(desk)
    title(desk, re.compile("received$"))


def test_a_reload_and_a_server_that_is_gone_lose_nothing(
    chromium: Browser, new_server: NewServer
) -> None:
    """What was scanned stands after a reload; what could not be sent is sent on Enter, once."""
    server, _ = new_server(nothing_more)
    for desk in opened(chromium, server):
        scan(desk, label("GI-R1"))
        usual(desk)
        desk.reload()
        title(desk, "Is all of this right?")
        line(desk, "Lot", "GI-R1")
        server.kill()
        enter(desk)
        title(desk, "Not saved yet")
        scan(desk, label("GI-R1", Q="480"))
        server.start()
        enter(desk)
        expect(desk.locator("[data-done] li")).to_have_count(2)
        assert sorted(one["quantity"] for one in received(server, "GI-R1")) == [480, 500]


@pytest.mark.parametrize("size", SIZES)
def test_nothing_runs_off_the_side(
    chromium: Browser, live: tuple[LiveServer, Workshop], size: str
) -> None:
    width, height = SIZES[size]
    for desk in opened(chromium, live[0]):
        desk.set_viewport_size({"width": width, "height": height})
        scan(desk, label("A-LONG-LOT-NUMBER-01", n3S="3" * 20, n1P="M" * 40))
        usual(desk)
        assert desk.evaluate("document.documentElement.scrollWidth") <= width
        expect(desk.get_by_role("button", name="Confirm and receive")).to_be_in_viewport()
        scan(desk, label("GI-A3", P="", n1P="UNKNOWN-PART"))
        assert desk.evaluate("document.documentElement.scrollWidth") <= width
