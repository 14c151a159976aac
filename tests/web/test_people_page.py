"""People on the set-up page: a new name, a badge out of use and back, and what was signed."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from msdtrack.services import alarm_rules, event_recording, people
from tests.web.conftest import NOW, Clock
from tests.web.workshop import Workshop, record


def change(browser: FlaskClient, code: str, by: str, **fields: str) -> str:
    """Send the form of a person; what is left out stays as it is."""
    now = people.person(code)
    form = {"name": now.name, "in_use": "yes", "person": by, "reason": "a marriage"} | fields
    return browser.post(f"/setup/people/{code}", data=form, follow_redirects=True).text


def ticked(page: str) -> list[str]:
    """The badges that are ticked for printing."""
    boxes = re.findall(r'<input type="checkbox" name="code" value="(\w+)" (checked)?', page)
    return [code for code, is_ticked in boxes if is_ticked]


def test_a_new_name_leads_to_its_badge(browser: FlaskClient, shop: Workshop) -> None:
    """Told what it does, the one badge ticked; the sheet holds the new name."""
    mira, jonas = shop.people
    assert f'href="/setup/people/{mira}"' in browser.get("/setup").text
    assert sorted(ticked(browser.get("/setup").text)) == sorted(shop.people)
    page = change(browser, mira, jonas, name="Mira Lund")
    assert "Mira is called Mira Lund from now on" in page
    assert ticked(page) == [mira]
    answer = browser.post("/setup/badges", data={"code": mira})
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    trace = browser.get(f"/setup/people/{mira}").text
    assert "Mira became Mira Lund" in trace
    assert "by Jonas: a marriage" in trace


def test_the_log_keeps_the_name_it_was_signed_with(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """On the carrier's log, on its correction, on the alarms and in the choices of the site."""
    mira, jonas = shop.people
    browser.post("/who", data={"badge": mira})
    browser.post(
        "/setup/policies/credit", data={"value": "on", "person": mira, "reason": "on file"}
    )
    alarm = alarm_rules.active_alarms()[0]
    alarm_rules.acknowledge(alarm.id, mira, NOW)
    record(shop.usable, "hold", NOW, NOW, person=mira, reason="wet")
    wall_clock.now += 60
    change(browser, mira, jonas, name="Anna Lund")
    hold = event_recording.log_of(shop.usable)[-1].event
    for path in (f"/carriers/{shop.usable}", f"/correct/{hold.id}", "/alarms", "/setup"):
        page = browser.get(path).text
        assert re.search(r"\bMira\b", page), path
    record(shop.usable, "move", wall_clock.now, wall_clock.now, person=mira, place=shop.bench)
    assert "<td>Anna Lund</td>" in browser.get(f"/carriers/{shop.usable}").text
    assert "<td>Mira</td>" in browser.get(f"/carriers/{shop.usable}").text


def test_who_has_left_can_sign_nothing_and_stays_on_the_log(
    browser: FlaskClient, shop: Workshop
) -> None:
    """No list offers the name but "Who did it" of a correction; old entries say it."""
    mira, jonas = shop.people
    record(shop.usable, "hold", NOW, NOW, person=mira, reason="wet")
    page = change(browser, mira, jonas, in_use="no", reason="has left")
    assert "The badge of Mira is no longer in use: nobody can sign with it." in page
    assert "No longer in use: 1" in page
    assert ticked(page) == [jonas]
    option = f'<option value="{mira}"'
    for path in ("/who", "/alarms", "/setup", f"/carriers/{shop.usable}", f"/setup/people/{jonas}"):
        assert option not in browser.get(path).text, path
    hold = event_recording.log_of(shop.usable)[-1].event
    correction = browser.get(f"/correct/{hold.id}").text
    assert correction.count(option) == 1
    assert correction.index(option) < correction.index('id="who"')
    assert "<td>Mira</td>" in browser.get(f"/carriers/{shop.usable}").text
    form = {"value": "on", "person": mira, "reason": "on file"}
    told = browser.post("/setup/policies/credit", data=form, follow_redirects=True).text
    assert "his badge is no longer in use" in told
    form = {"how": "void", "who": mira, "why": "not wet"}
    refused = browser.post(f"/correct/{hold.id}", data=form)
    assert refused.status_code == 422
    assert "his badge is no longer in use" in refused.text
    page = change(browser, mira, jonas, in_use="yes", reason="is back")
    assert "The badge of Mira is in use again." in page
    assert sorted(ticked(page)) == sorted(shop.people)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"name": "Jonas"}, "is the badge of that name: add what tells the two apart"),
        ({"name": ""}, "Fill this in"),
        ({"person": ""}, "Fill this in"),
        ({"reason": ""}, "Fill this in"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(
    browser: FlaskClient, shop: Workshop, fields: dict[str, str], words: str
) -> None:
    """What was typed stays in the form; nothing is changed."""
    mira, jonas = shop.people
    page = change(browser, mira, jonas, **{"name": "Mira Lund"} | fields)
    assert words in page
    assert people.person(mira).name == "Mira"


def test_nothing_changed_is_said(browser: FlaskClient, shop: Workshop) -> None:
    """And an unknown badge is nowhere."""
    assert "Nothing was changed." in change(browser, *shop.people)
    assert browser.get("/setup/people/W9999997").status_code == 404


def test_a_name_that_has_left_is_not_given_again(browser: FlaskClient, shop: Workshop) -> None:
    """The log would mix the two."""
    change(browser, *shop.people, in_use="no")
    page = browser.post("/setup/people", data={"name": "mira"})
    assert page.status_code == 422
    assert "add what tells the two apart" in page.text
