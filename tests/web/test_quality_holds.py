"""A carrier on hold leads to where quality releases it, and what contradicts its hold says so."""

from __future__ import annotations

import re
from html import unescape
from uuid import uuid4

import pytest
from flask.testing import FlaskClient

from msdtrack.services import boards, carrier_states, measurements
from msdtrack.services.event_recording import NewEvent
from tests.web.conftest import NOW, Clock
from tests.web.test_checks import GOOD, LIMITS, Inspector
from tests.web.workshop import Workshop, placed_batch, record


@pytest.fixture
def held(shop: Workshop) -> str:
    """A reel that is on hold since half an hour, and was loaded all the same."""
    record(shop.usable, "hold", NOW - 1800, NOW, person="Mira", reason="bent leads")
    return shop.usable


def part_of(page: str, begin: str) -> str:
    """What a section of a page says."""
    section = page.split(begin)[1].split("</section>")[0]
    return unescape(" ".join(re.sub(r"<[^>]+>", "", section).split()))


def told(page: str) -> str:
    """What the verdict says."""
    return part_of(page, 'aria-label="Verdict">')


def releases(browser: FlaskClient, carrier: str, **fields: str) -> tuple[int, str]:
    """Send the form of the page of a carrier: the status, and the page that follows."""
    page = browser.get(f"/carriers/{carrier}").text
    (id_,) = re.findall(r'name="request_id" value="([^"]+)"', page)
    data = {"request_id": id_} | fields
    answer = browser.post(f"/carriers/{carrier}/release", data=data, follow_redirects=True)
    return answer.status_code, answer.text


def test_a_hold_is_told_and_released_by_name_with_a_reason(
    browser: FlaskClient, shop: Workshop, held: str
) -> None:
    """Since when, by whom and why; the name is remembered, the form is gone then."""
    page = browser.get(f"/carriers/{held}").text
    assert "When quality has decided: release it." in told(page)
    assert "by Mira: bent leads" in part_of(page, 'id="quality">')
    status, page = releases(browser, held, person=shop.people[1], reason="straightened")
    assert status == 200
    assert "Released: quality holds it no longer." in page
    assert "May be used" in told(page)
    assert 'id="quality"' not in page
    assert "straightened" in part_of(page, 'id="log">')
    assert "You are <b>Jonas</b>" in browser.get("/alarms").text


def test_a_contradiction_of_the_hold_offers_both_ways_out(
    browser: FlaskClient, shop: Workshop, held: str
) -> None:
    """Release or correct, each with its link; the release settles it."""
    loading = record(held, "load", NOW - 600, NOW, place=shop.line)
    page = browser.get(f"/carriers/{held}").text
    assert (
        "it was loaded while on hold. Held for: bent leads. If quality allows it nevertheless, "
        "release it; if the entry is wrong, correct the log."
    ) in told(page)
    verdict = page.split('aria-label="Verdict"')[1].split("</section>")[0]
    assert re.findall(r'href="([^"]+)"', verdict) == ["#quality", f"/correct/{loading}"]
    page = releases(browser, held, person=shop.people[0], reason="straightened")[1]
    assert "on hold" not in told(page)
    assert "contradicts" not in told(page)


def test_a_missing_card_is_released_without_a_hold(browser: FlaskClient, shop: Workshop) -> None:
    """The page says what is missing, takes name and reason, and the carrier is free."""
    gone = dict.fromkeys(("5", "10", "60"), "missing")
    record(shop.closed, "open", NOW - 600, NOW, hic=gone)
    page = browser.get(f"/carriers/{shop.closed}").text
    assert "When quality has decided: release it." in told(page)
    quality = part_of(page, 'id="quality">')
    assert "Card missing" in quality
    assert "was missing or unreadable. Quality decides, and a release settles it." in quality
    assert "On hold" not in quality
    assert releases(browser, shop.closed, person=shop.people[1], reason="")[0] == 422
    status, page = releases(browser, shop.closed, person=shop.people[1], reason="weighed: dry")
    assert status == 200
    assert "Released: quality holds it no longer." in page
    assert "May be used" in told(page)
    assert 'id="quality"' not in page
    log = part_of(page, 'id="log">')
    assert "weighed: dry" in log
    assert "Jonas" in log


def test_a_card_that_is_not_read_is_to_be_read_first(browser: FlaskClient, shop: Workshop) -> None:
    """The ways to it are there, and the release for the case that nobody can tell."""
    record(shop.closed, "open", NOW - 600, NOW)
    page = browser.get(f"/carriers/{shop.closed}").text
    quality = part_of(page, 'id="quality">')
    assert "Card not read" in quality
    assert "scan it at the station or correct the opening" in quality
    status, page = releases(browser, shop.closed, person=shop.people[0], reason="card was lost")
    assert status == 200
    assert "May be used" in told(page)


def test_another_contradiction_offers_the_log_alone(
    browser: FlaskClient, shop: Workshop, held: str
) -> None:
    """A release does not settle an opening of what was open."""
    record(held, "open", NOW - 600, NOW)
    said = told(browser.get(f"/carriers/{held}").text)
    assert "opened, but it was not in a closed bag. Correct the log." in said
    assert "nevertheless" not in said


def test_pieces_on_boards_lead_to_the_boards(browser: FlaskClient, shop: Workshop) -> None:
    """A reflow while on hold: what is on the boards is released together, on their page."""
    batch = placed_batch(shop, shop.usable)
    hold = NewEvent(str(uuid4()), "", "hold", NOW - 1800, person="Mira", reason="tombstones")
    reflow = NewEvent(str(uuid4()), "", "reflow", NOW - 600, peak_c=240.0)
    for new in (hold, reflow):
        boards.record(batch, new, NOW)
    (placement,) = boards.batch_state(batch, NOW).placements
    code = placement.placed.code
    page = browser.get(f"/carriers/{code}").text
    assert "Held for: tombstones. If quality allows it nevertheless, release the boards;" in (
        told(page)
    )
    assert page.count(f'href="/boards/{batch}#quality"') == 2
    assert f"/carriers/{code}/release" not in page
    assert 'id="quality"' in browser.get(f"/boards/{batch}").text
    answer = browser.post(
        f"/carriers/{code}/release",
        data={"request_id": str(uuid4()), "person": shop.people[0], "reason": "good"},
    )
    assert answer.status_code == 409
    assert "release them all" in answer.text


def test_a_rejected_lot_leads_to_its_check(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """The check decides of its lot; with another hold beside it, it is decided here."""
    measurements.set_limits("WB-PRS-3", "bare", LIMITS, "Mira", "drawing 7", NOW)
    inspector = Inspector(browser, shop, wall_clock)
    inspector.plan()
    inspector.scan(shop.closed, "OPEN", "HICDRY", "5", "CLOSEQUICK")
    inspector.table(GOOD.replace("3;0,3", "3;1,8"))
    page = browser.get(f"/carriers/{shop.closed}").text
    assert page.count('href="/checks/1#release"') == 2
    assert f"/carriers/{shop.closed}/release" not in page
    assert 'id="release"' in browser.get("/checks/1").text
    assert releases_from_elsewhere(browser, shop) == 409
    record(shop.closed, "hold", wall_clock.now, wall_clock.now, reason="bag is torn")
    page = browser.get(f"/carriers/{shop.closed}").text
    assert "/checks/1#release" not in page
    assert f"/carriers/{shop.closed}/release" in page
    assert releases_from_elsewhere(browser, shop) == 303
    assert carrier_states.state(shop.closed, wall_clock.now).ledger.held == ()


def releases_from_elsewhere(browser: FlaskClient, shop: Workshop) -> int:
    """Send a release although the page may not offer it; the status."""
    data = {"request_id": str(uuid4()), "person": shop.people[0], "reason": "good"}
    return browser.post(f"/carriers/{shop.closed}/release", data=data).status_code


def test_what_is_missing_is_beside_its_field(
    browser: FlaskClient, shop: Workshop, held: str
) -> None:
    """422, what was typed stays, and so does the hold."""
    status, page = releases(browser, held, person="", reason="kept words")
    assert status == 422
    assert 'value="kept words"' in page
    assert 'id="person-wrong">Fill this in.' in page
    status, page = releases(browser, held, person=shop.people[0], reason=" ")
    assert (status, 'id="reason-wrong">Fill this in.' in page) == (422, True)
    assert f'<option value="{shop.people[0]}" selected>' in page
    assert carrier_states.state(held, NOW).ledger.held == ("bent leads",)


def test_what_somebody_else_released_meanwhile_is_told(
    browser: FlaskClient, shop: Workshop, held: str
) -> None:
    """409 with the present state; sent twice by oneself it is no error."""
    page = browser.get(f"/carriers/{held}").text
    (id_,) = re.findall(r'name="request_id" value="([^"]+)"', page)
    form = {"request_id": id_, "person": shop.people[0], "reason": "straightened"}
    assert browser.post(f"/carriers/{held}/release", data=form).status_code == 303
    assert browser.post(f"/carriers/{held}/release", data=form).status_code == 303
    late = browser.post(f"/carriers/{held}/release", data=form | {"request_id": str(uuid4())})
    assert late.status_code == 409
    assert f"{held} is not on hold any more: nothing was released." in late.text
    assert browser.post("/carriers/C9999999/release", data=form).status_code == 404


def test_another_moment_than_now_offers_no_release(
    browser: FlaskClient, shop: Workshop, held: str
) -> None:
    """What was so is not what is; the reasons are told all the same."""
    page = browser.get(f"/carriers/{held}?at=2026-05-14T12:45").text
    assert "Hold for quality: bent leads." in told(page)
    assert 'id="quality"' not in page
