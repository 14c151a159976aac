"""Thousands of alarms are shown in pages: the worst first, counted, narrowed by the address."""

from __future__ import annotations

import re
from html import unescape

import pytest
from flask.testing import FlaskClient

from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.services import alarm_rules
from msdtrack.store import alarms
from msdtrack.store.connection import write
from tests.web.workshop import Workshop

_MOST_BYTES = 300_000
_MANY = 400


@pytest.fixture
def flood(shop: Workshop) -> list[int]:
    """Hundreds of alarms at two places, some acknowledged; return their ids as they are listed."""
    with write():
        for number in range(_MANY):
            place, kind, priority = (
                (shop.line, "floor_life_expired", "high")
                if number % 4 == 0
                else (shop.store, "shelf_life_low", "medium")
            )
            text = f"Invented reason {number} to look at a carrier, as long as such texts are."
            made, _ = alarms.raise_alarm(
                f"{kind}:x{number}", kind, priority, text, shop.now, place=place
            )
            if number % 10 == 0:
                alarms.acknowledge(made.id, shop.people[0], shop.now)
    return [alarm.id for alarm in alarm_rules.active_alarms()]


def listed(text: str) -> list[int]:
    """The ids of the alarms of a page, in its order."""
    return [int(found) for found in re.findall(r'<tr id="alarm-(\d+)"', text)]


def link(text: str, words: str) -> str | None:
    """The address behind a link."""
    found = re.search(rf'href="([^"]*)">{words}<', text)
    return None if found is None else unescape(found[1])


def test_links_lead_through_every_page(browser: FlaskClient, flood: list[int]) -> None:
    """No page is large, each alarm is on one, and the pages before are those one came by."""
    address: str | None = "/alarms"
    seen: list[int] = []
    before: list[str] = []
    while address is not None:
        page = browser.get(address).text
        assert len(page.encode()) < _MOST_BYTES
        first, last = len(seen) + 1, len(seen) + len(listed(page))
        assert f"{first} to {last} of {len(flood)}" in page
        if len(before) > 1:
            assert listed(browser.get(link(page, "Page before") or "").text) == listed(before[-1])
            assert listed(browser.get(link(page, "First page") or "").text) == listed(before[0])
        seen += listed(page)
        before.append(page)
        address = link(page, "Next page")
    assert seen == flood
    assert len(before) == -(-len(flood) // 50)


def test_counts_of_kinds_and_places_lead_to_them(
    browser: FlaskClient, shop: Workshop, flood: list[int]
) -> None:
    """They are said, a link shows only those, and the two narrow together."""
    page = browser.get("/alarms").text
    assert f"Active: {len(flood)}" in page
    line = f'(?s)href="/alarms\\?place={shop.line}".*?<span>Line 1</span><b>(\\d+)</b>'
    (count,) = re.findall(line, page)
    at_line = [each for each in alarm_rules.active_alarms() if each.place == shop.line]
    assert int(count) == len(at_line)
    only = browser.get(f"/alarms?place={shop.line}").text
    assert "Only · <b>Line 1</b>." in only
    assert f"Active: {count}" in only
    both = f"/alarms?kind=floor_life_expired&place={shop.line}"
    assert both in unescape(only)
    page = browser.get(both).text
    assert "Only · <b>Floor life over</b> · <b>Line 1</b>." in page
    rows = [alarm for alarm in at_line if alarm.kind == "floor_life_expired"]
    assert f"Active: {len(rows)}" in page
    further = link(page, "Next page")
    assert further is not None
    assert both.removeprefix("/alarms?") in further
    assert listed(page) + listed(browser.get(further).text)[:50] == [one.id for one in rows][:100]


def test_what_one_does_leads_back_to_where_one_is(
    browser: FlaskClient, shop: Workshop, flood: list[int]
) -> None:
    """Badge, acknowledging, shelving and its slips keep what is looked for and the page."""
    first = browser.get(f"/alarms?place={shop.store}").text
    address = link(first, "Next page")
    assert address is not None
    page = browser.get(address).text
    chosen = listed(page)[:3]

    def sent(action: str, form: dict[str, str]) -> str:
        url = re.findall(rf'action="(/alarms/{action}[^"]*)"', browser.get(address).text)[0]
        answer = browser.post(unescape(url), data=form)
        assert (answer.status_code, answer.location) == (303, address)
        return browser.get(address).text

    assert "Acknowledge as Mira" in sent("who", {"badge": shop.people[0]})
    row = page[page.index(f'<tr id="alarm-{chosen[0]}"') :]
    page = sent("acknowledge", {"seen": re.findall(r'name="seen" value="([^"]*)"', row)[0]})
    assert chosen[0] not in listed(page)
    assert listed(page)[:2] == chosen[1:]
    (url,) = re.findall(rf'action="(/alarms/{chosen[1]}/shelve[^"]*)"', page)
    slip = browser.post(unescape(url), data={"reason": "", "hours": "1"})
    assert slip.status_code == 422
    assert listed(slip.text)[:2] == chosen[1:]
    assert "<details open>" in slip.text
    page = sent(f"{chosen[1]}/shelve", {"reason": "baked tonight", "hours": "1"})
    assert chosen[1] in listed(page[page.index('id="shelved"') :])


def test_a_slip_on_an_alarm_that_is_on_another_page_is_said(
    browser: FlaskClient, shop: Workshop, flood: list[int]
) -> None:
    """Its form is not there to say it beside."""
    browser.post("/alarms/who", data={"badge": shop.people[0]})
    answer = browser.post(f"/alarms/{flood[-1]}/shelve", data={"reason": "", "hours": "1"})
    assert answer.status_code == 422
    assert f"Alarm {flood[-1]} was not shelved." in answer.text


def test_a_scan_finds_what_it_names(browser: FlaskClient, shop: Workshop, flood: list[int]) -> None:
    """A carrier's label, a place's sign, a badge and words go into one field."""
    (alarm,) = [each for each in alarm_rules.active_alarms() if each.carrier == shop.expired]

    def found(text: str, args: str = "") -> tuple[str, str]:
        answer = browser.post(f"/alarms/find{args}", data={"find": text})
        assert answer.status_code == 303
        return answer.location, browser.get(answer.location).text

    where, page = found(f" {shop.expired.lower()} ", f"?place={shop.store}")
    assert where == f"/alarms?find={shop.expired}"
    assert listed(page) == [alarm.id]
    where, page = found(shop.line)
    assert where == f"/alarms?place={shop.line}"
    where, page = found(shop.people[1], f"?find={shop.expired}")
    assert where == f"/alarms?find={shop.expired}"
    assert "Acknowledge as Jonas" in page
    where, page = found("reason 137", "?kind=shelf_life_low")
    assert where == "/alarms?kind=shelf_life_low&find=reason+137"
    assert len(listed(page)) == 1
    where, page = found("nothing like it")
    assert "No active alarm fits." in page
    where, _ = found("", f"?place={shop.store}&find=x")
    assert where == f"/alarms?place={shop.store}"
    for code, words in (
        (make_code(CodeKind.BAG, 1), "is the code of a bag: scan a carrier, boards, a place or"),
        (make_code(CodeKind.PLACE, 999), "There is no place"),
        (make_code(CodeKind.PERSON, 999), "Nobody has"),
    ):
        assert words in found(code)[1]


@pytest.mark.parametrize(
    "query",
    ["active=x", "active=1.2", "shelved=-", "ended=1.1", "kind=none", "place=P1", "find=%00%27%25"],
)
def test_an_address_somebody_changed_does_no_harm(
    browser: FlaskClient, shop: Workshop, query: str
) -> None:
    """It shows the first page, or says that nothing fits."""
    answer = browser.get(f"/alarms?{query}")
    assert answer.status_code == 200
    fits = not query.startswith(("kind", "place", "find"))
    assert ("No active alarm fits." in answer.text) is not fits


def test_alarms_of_no_place_can_be_chosen(browser: FlaskClient, shop: Workshop) -> None:
    """The server's clock is at no place."""
    alarm_rules.report_clock_jump(shop.now, 3600)
    assert 'href="/alarms?place=none"' in browser.get("/alarms").text
    page = browser.get("/alarms?place=none").text
    assert len(listed(page)) == 1
    assert "clock jumped" in page


def test_a_page_that_is_the_same_is_not_sent_again(browser: FlaskClient, shop: Workshop) -> None:
    """304 for whoever has it; the whole page once anything on it differs."""
    answer = browser.get("/alarms")
    had = {"If-None-Match": answer.headers["ETag"]}
    again = browser.get("/alarms", headers=had)
    assert (again.status_code, again.data) == (304, b"")
    browser.post("/alarms/who", data={"badge": shop.people[0]})
    assert browser.get("/alarms", headers=had).status_code == 200


def test_what_has_been_is_shown_below_thousands_that_stand(
    browser: FlaskClient, shop: Workshop, flood: list[int]
) -> None:
    """Ended alarms have pages of their own, however many newer ones stand."""
    browser.post("/alarms/who", data={"badge": shop.people[0]})
    with write():
        for number in range(60):
            alarms.raise_alarm(f"air_beyond_limits:y{number}", "k", "low", f"Old {number}.", 5)
    ended = [one for one in alarm_rules.active_alarms() if one.message.startswith("Old")]
    with write():
        for one in ended:
            alarms.return_to_normal(one.cause, 6)
            alarms.acknowledge(one.id, shop.people[0], 7)
    page = browser.get("/alarms").text
    assert "1 to 50 of 60" in page
    past = re.findall(r'href="([^"]*#ended)">Next page', page)
    page = browser.get(unescape(past[0])).text
    assert "51 to 60 of 60" in page
    assert "Old 0." in page
