"""A page of alarms is acknowledged together: what it showed, and nothing else."""

from __future__ import annotations

import re
from html import unescape

import pytest
from flask.testing import FlaskClient

from msdtrack.services import alarm_rules
from msdtrack.store import alarms
from msdtrack.store.connection import write
from tests.web.workshop import Workshop

Form = tuple[str, list[str]]


@pytest.fixture
def mira(browser: FlaskClient, shop: Workshop) -> str:
    """Mira is at the browser; return the code of her badge."""
    browser.post("/alarms/who", data={"badge": shop.people[0]})
    return shop.people[0]


@pytest.fixture
def flood(shop: Workshop) -> None:
    """A sensor falls silent: 120 carriers in a store are over at once."""
    with write():
        for number in range(120):
            alarms.raise_alarm(
                f"floor_life_expired:x{number}", "floor_life_expired", "high",
                f"Invented reel {number} is over. Bake it first.", shop.now, place=shop.store,
            )  # fmt: skip


def form_of(text: str) -> Form:
    """Where the form of a page goes, and which alarms are in it."""
    (text,) = re.findall(r'<details [^>]*id="together".*?</details>', text, re.DOTALL)
    (url,) = re.findall(r'action="(/alarms/acknowledge[^"]*)"', text)
    return unescape(url), re.findall(r'name="seen" value="([^"]*)"', text)


def ids(form: Form) -> list[int]:
    """The alarms of a form."""
    return [int(each.split("-")[0]) for each in form[1]]


def sent(browser: FlaskClient, form: Form) -> str:
    """The page that follows when a form is sent."""
    answer = browser.post(form[0], data={"seen": form[1]})
    assert answer.status_code == 303
    return browser.get(answer.location).text


def acknowledged() -> dict[int, str | None]:
    """Who has acknowledged the active alarms, by their id; nobody is not in it."""
    listed = alarm_rules.active_alarms()
    return {one.id: one.acknowledged_by for one in listed if one.acknowledged_by}


def test_the_form_has_what_the_page_shows(
    browser: FlaskClient, shop: Workshop, flood: None, mira: str
) -> None:
    """The unacknowledged ones of this page only, counted by kind; each page has its own."""
    first = browser.get(f"/alarms?place={shop.store}").text
    shown = [int(found) for found in re.findall(r'<tr id="alarm-(\d+)"', first)]
    assert ids(form_of(first)) == shown
    assert "Acknowledge these 50 as Mira" in first
    assert "and none of another page" in first
    assert "<b>Floor life over</b> 50." in first
    assert "All are of high priority." in first
    page = sent(browser, form_of(first))
    assert "50 alarms acknowledged by Mira." in page
    assert acknowledged() == dict.fromkeys(shown, mira)
    second = form_of(page)
    assert len(ids(second)) == 50
    assert not set(ids(second)) & set(shown)
    assert f"place={shop.store}" in second[0]


def test_what_is_raised_after_the_page_was_shown_is_not_in_it(
    browser: FlaskClient, shop: Workshop, mira: str
) -> None:
    """Although it fits what the list is narrowed to."""
    address = f"/alarms?place={shop.line}"
    form = form_of(browser.get(address).text)
    with write():
        late, _ = alarms.raise_alarm("k:late", "k", "high", "Late.", shop.now, place=shop.line)
    page = sent(browser, form)
    assert f"{len(form[1])} alarms acknowledged by Mira." in page
    assert set(acknowledged()) == set(ids(form))
    assert late.id not in acknowledged()


def test_without_a_name_nothing_is_acknowledged(browser: FlaskClient, shop: Workshop) -> None:
    """As for one."""
    form = form_of(browser.get("/alarms").text)
    page = sent(browser, form)
    assert "Say who you are first" in page
    assert acknowledged() == {}
    assert ids(form_of(page)) == ids(form)


def test_what_changed_is_told_and_left(
    browser: FlaskClient, shop: Workshop, flood: None, mira: str
) -> None:
    """With its words and why; the first of them by name, the others as a number."""
    address = f"/alarms?place={shop.store}"
    form = form_of(browser.get(address).text)
    shown = [alarms.alarm(each) for each in ids(form)]
    with write():
        alarms.acknowledge(shown[0].id, shop.people[1], shop.now)
        alarms.shelve(shown[1].id, shop.people[1], "at repair", shop.now + 60, shop.now)
        for each in shown[2:6]:
            alarms.return_to_normal(each.cause, shop.now)
        alarms.raise_alarm(shown[3].cause, "k", "high", shown[3].message, shop.now)
    page = unescape(sent(browser, form))
    assert "44 alarms acknowledged by Mira." in page
    words = [each.message.removesuffix(". Bake it first.") for each in shown]
    assert (
        "6 were left, as they changed after the page was shown: "
        f"{words[0]}, acknowledged by Jonas; {words[1]}, shelved by Jonas; "
        f"{words[2]}, returned to normal; {words[3]}, came again; and 2 more. "
        "See how they stand now."
    ) in page
    assert acknowledged() == {shown[0].id: shop.people[1]} | dict.fromkeys(ids(form)[6:], mira)


def test_nothing_left_to_acknowledge_is_said(
    browser: FlaskClient, shop: Workshop, mira: str
) -> None:
    """Somebody else was there first; a long message is cut."""
    with write():
        made = [
            alarms.raise_alarm(f"k:{each}", "k", "low", f"{each} " * 80, shop.now, place=shop.bench)
            for each in "ab"
        ]
    form = form_of(browser.get(f"/alarms?kind=k&place={shop.bench}").text)
    with write():
        for each, _ in made:
            alarms.acknowledge(each.id, shop.people[1], shop.now)
    page = sent(browser, form)
    assert "Nothing was acknowledged." in page
    assert f"{'a ' * 45}".rstrip() + "…, acknowledged by Jonas; " in page
    one = sent(browser, (form[0], form[1][:1]))
    assert "1 was left, as it changed after the page was shown: a a" in one
    assert "See how it stands now." in one


def test_the_form_sent_twice_says_the_same(browser: FlaskClient, mira: str) -> None:
    """Nothing is told as changed by oneself."""
    form = form_of(browser.get("/alarms").text)
    first = sent(browser, form)
    told = f"{len(form[1])} alarms acknowledged by Mira."
    assert told in first
    again = sent(browser, form)
    assert told in again
    assert "left, as" not in again


def test_a_form_is_there_for_two_alarms_at_least(
    browser: FlaskClient, shop: Workshop, flood: None, mira: str
) -> None:
    """One has its own button; what is acknowledged is not in it."""
    assert 'id="together"' not in browser.get("/alarms?find=reel+77+").text
    address = "/alarms?find=reel+11"
    form = form_of(browser.get(address).text)
    assert len(form[1]) == 11
    sent(browser, (form[0], form[1][:1]))
    assert ids(form_of(browser.get(address).text)) == ids(form)[1:]
    sent(browser, (form[0], form[1][2:]))
    page = browser.get(address).text
    assert "Acknowledge as Mira" in page
    assert 'id="together"' not in page


@pytest.mark.parametrize("text", ["", "x", "1", "1-1-high", "-1-1-high-unacknowledged", "1 OR 1"])
def test_a_form_that_was_changed_on_the_way_does_nothing(
    browser: FlaskClient, mira: str, text: str
) -> None:
    """It says what to do, and acknowledges none of the others in it."""
    form = form_of(browser.get("/alarms").text)
    for wrong in ([*form[1], text], [text], []):
        page = sent(browser, (form[0], wrong))
        assert "Nothing was acknowledged: look at the list again and repeat it." in page
    assert acknowledged() == {}


def test_an_alarm_that_does_not_exist_stops_all(browser: FlaskClient, mira: str) -> None:
    """404, and the others are as they were."""
    url, shown = form_of(browser.get("/alarms").text)
    answer = browser.post(url, data={"seen": [*shown, "99999-1-high-unacknowledged"]})
    assert answer.status_code == 404
    assert acknowledged() == {}
