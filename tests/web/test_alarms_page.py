"""Alarms are acknowledged by name; the name is forgotten after a while without an entry."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from msdtrack.services import alarm_notices, alarm_rules, receiving
from msdtrack.services.alarm_notices import Target
from msdtrack.services.receiving import NewCarrier
from msdtrack.services.station_memory import IN_BROWSER_S
from msdtrack.store import alarms
from msdtrack.store.connection import write
from msdtrack.store.records import AlarmRecord
from tests.web.conftest import Clock
from tests.web.workshop import Workshop


def _open_alarms() -> list[int]:
    return [alarm.id for alarm in alarm_rules.active_alarms() if alarm.acknowledged_at is None]


def _acknowledge(browser: FlaskClient, alarm_id: int, page: str) -> TestResponse:
    """Press the button of an alarm on a page that shows it; return what follows."""
    row = page[page.index(f'<tr id="alarm-{alarm_id}"') :]
    seen = re.findall(r'name="seen" value="([^"]*)"', row)[0]
    return browser.post("/alarms/acknowledge", data={"seen": seen}, follow_redirects=True)


def test_an_alarm_needs_a_name(browser: FlaskClient, shop: Workshop) -> None:
    """Without a badge or a name nothing is acknowledged."""
    first = _open_alarms()[0]
    answer = _acknowledge(browser, first, browser.get("/alarms").text)
    assert "Say who you are first" in answer.text
    assert first in _open_alarms()


def came_again(alarm: AlarmRecord, other: str, now: int) -> None:
    """Its cause went and came."""
    alarms.return_to_normal(alarm.cause, now)
    alarms.raise_alarm(alarm.cause, alarm.kind, alarm.priority, alarm.message, now)


def of_other_priority(alarm: AlarmRecord, other: str, now: int) -> None:
    """It is more urgent than it was."""
    alarms.raise_alarm(alarm.cause, alarm.kind, "high", alarm.message, now)


def returned_to_normal(alarm: AlarmRecord, other: str, now: int) -> None:
    """Its cause is gone: acknowledging would end it."""
    alarms.return_to_normal(alarm.cause, now)


def taken_by_another(alarm: AlarmRecord, other: str, now: int) -> None:
    """Somebody else was there first."""
    alarms.acknowledge(alarm.id, other, now)


def shelved_by_another(alarm: AlarmRecord, other: str, now: int) -> None:
    """Somebody else has put it aside."""
    alarms.shelve(alarm.id, other, "at repair", now + 60, now)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (came_again, "came again"),
        (of_other_priority, "of high priority now"),
        (returned_to_normal, "returned to normal"),
        (taken_by_another, "acknowledged by Jonas"),
        (shelved_by_another, "shelved by Jonas"),
    ],
)
def test_an_alarm_that_changed_since_it_was_shown_is_left(
    change: Callable[[AlarmRecord, str, int], None],
    words: str,
    browser: FlaskClient,
    shop: Workshop,
) -> None:
    """Nobody acknowledges what he has not seen: it is told, and the next press counts."""
    with write():
        alarm, _ = alarms.raise_alarm("k:one", "k", "low", "A filter is due. Clean it.", shop.now)
    page = browser.post("/alarms/who", data={"badge": shop.people[0]}, follow_redirects=True).text
    with write():
        change(alarm, shop.people[1], shop.now)
        before = alarms.alarm(alarm.id)
    told = _acknowledge(browser, alarm.id, page).text
    assert "Nothing was acknowledged." in told
    assert (
        f"1 was left, as it changed after the page was shown: A filter is due, {words}. "
        "See how it stands now." in told
    )
    assert alarms.alarm(alarm.id) == before
    if before.state in ("unacknowledged", "returned_to_normal"):
        assert "Acknowledged by Mira." in _acknowledge(browser, alarm.id, told).text
        assert alarms.alarm(alarm.id).acknowledged_by == shop.people[0]


def test_an_alarm_whose_words_follow_the_air_is_acknowledged(
    browser: FlaskClient, shop: Workshop
) -> None:
    """A new number in its message is no change."""
    with write():
        alarm, _ = alarms.raise_alarm("k:one", "k", "low", "62 % RH.", shop.now)
    page = browser.post("/alarms/who", data={"badge": shop.people[0]}, follow_redirects=True).text
    with write():
        alarms.raise_alarm("k:one", "k", "low", "63 % RH.", shop.now)
    assert "Acknowledged by Mira." in _acknowledge(browser, alarm.id, page).text


def test_a_badge_acknowledges_by_name(browser: FlaskClient, shop: Workshop) -> None:
    """A scanned badge says who; the alarm then carries the name."""
    first = _open_alarms()[0]
    page = browser.post("/alarms/who", data={"badge": shop.people[0]}, follow_redirects=True)
    assert "Acknowledge as Mira" in page.text
    answer = _acknowledge(browser, first, page.text)
    assert "Acknowledged by Mira." in answer.text
    assert first not in _open_alarms()
    (alarm,) = [each for each in alarm_rules.active_alarms() if each.id == first]
    assert alarm.acknowledged_by == shop.people[0]


def test_a_name_can_be_chosen_and_dropped(browser: FlaskClient, shop: Workshop) -> None:
    """The name stands on the buttons until somebody else is at the browser."""
    page = browser.post("/alarms/who", data={"person": shop.people[1]}, follow_redirects=True)
    assert "Acknowledge as Jonas" in page.text
    page = browser.post("/alarms/who", data={"person": ""}, follow_redirects=True)
    assert "Acknowledge as" not in page.text


def test_a_wrong_badge_is_said(browser: FlaskClient, shop: Workshop) -> None:
    """A carrier's code, a misread badge and an unknown one each get their words."""
    for badge, words in (
        (shop.usable, "is the code of a carrier: scan a badge"),
        (shop.people[0][:-1] + "*", "No code of this system holds"),
        (shop.people[0][1:], "No code of this system begins"),
    ):
        page = browser.post("/alarms/who", data={"badge": badge}, follow_redirects=True)
        assert words in page.text


def test_the_name_is_forgotten(browser: FlaskClient, shop: Workshop, wall_clock: Clock) -> None:
    """After a while without an entry somebody else may stand there."""
    browser.post("/alarms/who", data={"person": shop.people[0]})
    wall_clock.now += IN_BROWSER_S
    assert "Acknowledge as Mira" in browser.get("/alarms").text
    wall_clock.now += 1
    assert "Acknowledge as" not in browser.get("/alarms").text


def test_an_alarm_that_is_not_there(browser: FlaskClient, shop: Workshop) -> None:
    """An unknown number is a page that says so."""
    browser.post("/alarms/who", data={"person": shop.people[0]})
    data = {"seen": "99999-1-high-unacknowledged"}
    assert browser.post("/alarms/acknowledge", data=data).status_code == 404


def test_every_state_has_a_word(browser: FlaskClient, shop: Workshop) -> None:
    """The words are those of ISA-18.2 / IEC 62682; the shape stands beside them.

    Source: ISA-18.2 / IEC 62682 alarm states (from memory).
    """
    text = browser.get("/alarms").text
    assert "Unacknowledged" in text
    assert 'class="shape shape-stop"' in text


def test_an_alarm_is_shelved_and_taken_off_by_name(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """It leaves the list with its reason, comes back unacknowledged, and the history keeps it."""
    first = _open_alarms()[0]
    form = {"reason": "baked tonight", "hours": "2"}
    answer = browser.post(f"/alarms/{first}/shelve", data=form, follow_redirects=True)
    assert "Say who you are first" in answer.text
    browser.post("/alarms/who", data={"badge": shop.people[0]})
    page = browser.post(f"/alarms/{first}/shelve", data=form, follow_redirects=True).text
    assert "Shelved by Mira. It comes back by itself" in page
    assert first not in _open_alarms()
    assert page.index("baked tonight") > page.index('id="shelved"')
    page = browser.post(f"/alarms/{first}/unshelve", follow_redirects=True).text
    assert "Taken off the shelf by Mira: it stands." in page
    assert first in _open_alarms()
    alarm = next(each for each in alarm_rules.active_alarms() if each.id == first)
    assert [step.step for step in alarm_rules.alarm_steps([alarm])[first]] == [
        "shelved",
        "unshelved",
    ]


def test_what_is_wrong_with_a_shelving_is_beside_its_field(
    browser: FlaskClient, shop: Workshop
) -> None:
    """422, the form open with what was typed, the alarm where it was."""
    first = _open_alarms()[0]
    browser.post("/alarms/who", data={"badge": shop.people[0]})
    for form, words in (
        ({"reason": "", "hours": "1"}, "Fill this in."),
        ({"reason": "kept words", "hours": "9"}, "At most 8."),
        ({"reason": "kept words", "hours": "0"}, "At least 1."),
        ({"reason": "kept words", "hours": "soon"}, "is no number."),
    ):
        answer = browser.post(f"/alarms/{first}/shelve", data=form)
        assert answer.status_code == 422
        assert words in answer.text
        assert "<details open>" in answer.text
        assert form["reason"] in answer.text
    assert first in _open_alarms()


def test_a_flood_and_stale_alarms_are_said(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """More than ten in ten minutes is a flood; what stands for a day is stale."""
    assert "a flood" not in browser.get("/alarms").text
    today = datetime.fromtimestamp(wall_clock.now, UTC).date()
    for _ in range(11):
        new = NewCarrier("WB-PRS-3", "F-1", 500, "reel", shelf_life_ends=today, sealed_on=today)
        receiving.receive(new, wall_clock.now)
    alarm_rules.evaluate(wall_clock.now)
    page = browser.get("/alarms").text
    assert "alarms in 10 minutes: a flood." in page
    assert "stale" not in page
    wall_clock.now += 24 * 3600
    page = browser.get("/alarms").text
    assert "stale: stands for over 24 h" in page
    assert "a flood" not in page


def test_a_notice_that_does_not_go_out_is_said(browser: FlaskClient, shop: Workshop) -> None:
    """With the receiver, how often it was tried, and why it failed."""
    assert "None are sent from here" in browser.get("/alarms").text
    now, target = shop.now, Target("key", "1: json host")
    due = [alarm.id for alarm in alarm_notices.claim(target, now)]
    alarm_notices.settle(target, due, "no answer", now)
    page = browser.get("/alarms").text
    assert "Notice to 1: json host not sent yet, tried 1 time" in page
    assert "no answer" in page
