"""One person at one browser, by keyboard alone: said at one page, seen and signed on the others."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser import goods_desk
from tests.browser.live_server import LiveServer
from tests.browser.scan_station import answered
from tests.browser.scanner import scan, scan_in_focus
from tests.web.workshop import Workshop

pytestmark = pytest.mark.browser


def at_work(page: Page, name: str) -> None:
    """Wait until the head of the page says who is there."""
    expect(page.locator("[data-who-name]")).to_have_text(name)


def tab_to(page: Page, words: str, key: str = "Tab") -> None:
    """Go on until what has the focus says these words, and nothing else."""
    for _ in range(80):
        page.keyboard.press(key)
        if page.evaluate("document.activeElement.innerText?.trim() || ''") == words:
            return
    raise AssertionError(f"{key} never comes to {words!r}")


def test_the_badge_of_the_scan_station_acknowledges_the_alarm(
    page: Page, server: LiveServer, shop: Workshop
) -> None:
    """Scanned there, it stands on the alarms; "Not me" there ends it at the station too."""
    page.goto(f"{server.url}/scan?station=Bench")
    expect(page.locator("[data-person]")).to_have_text("Scan your badge")
    expect(page.locator("[data-person-label]")).to_have_text("At work: nobody")
    scan(page, shop.people[0])
    expect(page.locator("[data-person]")).to_have_text("Mira")
    page.goto(f"{server.url}/alarms")
    at_work(page, "Mira")
    tab_to(page, "Acknowledge as Mira")
    page.keyboard.press("Enter")
    expect(page.locator(".told")).to_contain_text("Acknowledged by Mira")
    tab_to(page, "Not me")
    page.keyboard.press("Enter")
    at_work(page, "nobody")
    expect(page.locator("table.alarms button").first).to_have_text("Acknowledge")
    page.goto(f"{server.url}/scan?station=Bench")
    expect(page.locator("[data-person]")).to_have_text("Scan your badge")


def test_the_badge_of_another_page_signs_at_the_scan_station(
    page: Page, server: LiveServer, shop: Workshop
) -> None:
    """Said on the page that asks who; the move goes by it, and after "Not me" by nobody."""
    page.goto(f"{server.url}/shift")
    at_work(page, "nobody")
    tab_to(page, "Say who", "Shift+Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#badge")).to_be_focused()
    scan_in_focus(page, shop.people[1])
    expect(page).to_have_url(f"{server.url}/shift")
    at_work(page, "Jonas")
    page.goto(f"{server.url}/scan?station=Bench")
    expect(page.locator("[data-person]")).to_have_text("Jonas")
    scan(page, shop.closed, shop.bench)
    expect(page.locator("[data-title]")).to_have_text(re.compile("^Moved"))
    tab_to(page, "Not me", "Shift+Tab")
    page.keyboard.press("Enter")
    expect(page.locator("[data-title]")).to_have_text("Nobody at work")
    expect(page.locator("[data-person]")).to_have_text("Scan your badge")
    expect(page.locator("[data-not-me]")).to_be_hidden()
    scan(page, shop.closed, shop.line)
    expect(page.locator("[data-title]")).to_have_text(re.compile("^Moved"))
    lines = answered(server, f"/carriers/{shop.closed}/events")["items"]
    assert [line.get("person") for line in lines[-2:]] == [shop.people[1], None]


def test_a_desk_shows_the_badge_it_has_just_heard(
    page: Page, server: LiveServer, shop: Workshop
) -> None:
    """At the oven, the count and the end of shift the page is not loaded anew for it."""
    for path in (f"/ovens/{shop.oven}", f"/count/{shop.store}", "/shift"):
        page.goto(f"{server.url}{path}")
        for badge, name in zip(shop.people, ("Mira", "Jonas"), strict=True):
            scan(page, badge)
            at_work(page, name)
            expect(page.locator("#desk-code")).to_be_focused()


def test_a_page_that_stood_open_shows_who_is_there_now(
    page: Page, server: LiveServer, shop: Workshop
) -> None:
    """Another tab heard a badge: looked at again, the first one says so, in its forms too."""
    page.goto(f"{server.url}/who")
    scan_in_focus(page, shop.people[0])
    at_work(page, "Mira")
    page.goto(f"{server.url}/places/{shop.line}/change")
    expect(page.locator("#person")).to_have_value(shop.people[0])
    other = page.context.new_page()
    other.goto(f"{server.url}/scan?station=Bench")
    scan(other, shop.people[1])
    expect(other.locator("[data-person]")).to_have_text("Jonas")
    page.bring_to_front()
    page.evaluate("dispatchEvent(new Event('focus'))")
    at_work(page, "Jonas")
    expect(page.locator("#person")).to_have_value(shop.people[1])
    tab_to(page, "Not me", "Shift+Tab")
    page.keyboard.press("Enter")
    at_work(page, "nobody")
    other.bring_to_front()
    other.evaluate("dispatchEvent(new Event('focus'))")
    expect(other.locator("[data-person]")).to_have_text("Scan your badge")


def test_a_badge_at_goods_in_is_for_all_pages_and_every_label(
    page: Page, server: LiveServer, shop: Workshop
) -> None:
    """Heard between labels; the bag is received in that name, and in nobody's after "Not me"."""
    page.goto(f"{server.url}/goods-in")
    goods_desk.title(page, "Scan the label on the bag")
    goods_desk.scan(page, shop.people[0])
    at_work(page, "Mira")
    received = [_received(page, "L-1", shop.store)]
    tab_to(page, "Not me", "Shift+Tab")
    page.keyboard.press("Enter")
    at_work(page, "nobody")
    goods_desk.title(page, re.compile("received|Scan the label"))
    received.append(_received(page, "L-2"))
    assert received == [shop.people[0], None]


def _received(page: Page, lot: str, to: str = "") -> str | None:
    """Receive a bag, the place asked where there is one, and return in whose name."""
    goods_desk.scan(page, goods_desk.label(lot))
    goods_desk.answer(page, "What are the parts in?", "1")
    goods_desk.answer(page, "Look at the dry bag: what is it like?", "1")
    goods_desk.answer(page, "Seal date on the bag?", "2024-09-04")
    goods_desk.title(page, "Floor life printed on the label, in hours?")
    goods_desk.enter(page)
    if to:
        goods_desk.title(page, "Where do the bags go?")
        goods_desk.scan(page, to)
    goods_desk.title(page, "Is all of this right?")
    with page.expect_request("**/api/v1/goods-in") as sent:
        goods_desk.enter(page)
    goods_desk.title(page, re.compile(r"^C\w+ received$"))
    return sent.value.post_data_json["answers"].get("person")
