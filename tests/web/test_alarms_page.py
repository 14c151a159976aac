"""Alarms are acknowledged by name; the name is forgotten after a quarter of an hour."""

from __future__ import annotations

from flask.testing import FlaskClient

from msdtrack.services import alarm_rules
from msdtrack.web.who import REMEMBERED_S
from tests.web.conftest import Clock
from tests.web.workshop import Workshop


def _open_alarms() -> list[int]:
    return [alarm.id for alarm in alarm_rules.active_alarms() if alarm.acknowledged_at is None]


def test_an_alarm_needs_a_name(browser: FlaskClient, shop: Workshop) -> None:
    """Without a badge or a name nothing is acknowledged."""
    first = _open_alarms()[0]
    answer = browser.post(f"/alarms/{first}/acknowledge", follow_redirects=True)
    assert "Say who you are first" in answer.text
    assert first in _open_alarms()


def test_a_badge_acknowledges_by_name(browser: FlaskClient, shop: Workshop) -> None:
    """A scanned badge says who; the alarm then carries the name."""
    first = _open_alarms()[0]
    page = browser.post("/alarms/who", data={"badge": shop.people[0]}, follow_redirects=True)
    assert "Acknowledge as Mira" in page.text
    answer = browser.post(f"/alarms/{first}/acknowledge", follow_redirects=True)
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
    """After a quarter of an hour somebody else may stand there."""
    browser.post("/alarms/who", data={"person": shop.people[0]})
    wall_clock.now += REMEMBERED_S
    assert "Acknowledge as Mira" in browser.get("/alarms").text
    wall_clock.now += 1
    assert "Acknowledge as" not in browser.get("/alarms").text


def test_an_alarm_that_is_not_there(browser: FlaskClient, shop: Workshop) -> None:
    """An unknown number is a page that says so."""
    browser.post("/alarms/who", data={"person": shop.people[0]})
    assert browser.post("/alarms/99999/acknowledge").status_code == 404


def test_every_state_has_a_word(browser: FlaskClient, shop: Workshop) -> None:
    """The words are those of ISA-18.2 / IEC 62682; the shape stands beside them.

    Source: ISA-18.2 / IEC 62682 alarm states (from memory).
    """
    text = browser.get("/alarms").text
    assert "Unacknowledged" in text
    assert 'class="shape shape-stop"' in text
