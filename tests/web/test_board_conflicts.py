"""A reflow of boards on hold: refused at the screen, told on their page with the way out."""

from __future__ import annotations

import re
from uuid import uuid4

import pytest
from flask.testing import FlaskClient

from msdtrack.services import boards, event_recording
from msdtrack.services.boards import NewBatch
from msdtrack.services.event_recording import NewEvent
from tests.web.conftest import NOW
from tests.web.test_boards import send
from tests.web.workshop import Workshop, placed_batch


@pytest.fixture
def batch(shop: Workshop) -> str:
    """A batch that quality holds since half an hour."""
    code = placed_batch(shop, shop.usable)
    hold = NewEvent(str(uuid4()), "", "hold", NOW - 1800, person="Mira", reason="tombstones")
    boards.record(code, hold, NOW)
    return code


def told(page: str) -> str:
    """What the verdict of a page says."""
    verdict = page.split('aria-label="Verdict"')[1].split("</section>")[0]
    return " ".join(re.sub(r"<[^>]+>", " ", verdict).split())


def test_the_form_refuses_a_reflow_and_keeps_what_was_typed(
    browser: FlaskClient, batch: str
) -> None:
    """The words name the hold and who lifts it."""
    data = {"request_id": str(uuid4()), "peak_c": "241", "last": "last"}
    answer = browser.post(f"/boards/{batch}/reflow", data=data)
    assert answer.status_code == 409
    words = "The boards are on hold: tombstones. They pass no reflow until quality releases them."
    assert words in answer.text
    assert 'value="241"' in answer.text
    assert "On hold: no reflow until quality releases them" in answer.text
    assert boards.batch_state(batch, NOW).passes == 0


def test_what_a_program_recorded_is_told_with_the_way_out(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """What happened, a link to the release and one to the log; the release settles it."""
    new = NewEvent(str(uuid4()), "", "reflow", NOW - 600, peak_c=240.0)
    boards.record(batch, new, NOW)
    page = browser.get(f"/boards/{batch}").text
    said = told(page)
    assert "Quality holds it." in said
    assert "The log contradicts itself." in said
    assert "it was reflowed while on hold. Release the boards if quality allows them, or" in said
    assert 'href="#quality"' in page
    assert 'href="#log"' in page
    (placement,) = boards.batch_state(batch, NOW).placements
    assert "it was reflowed while on hold" in browser.get(f"/carriers/{placement.placed.code}").text
    page = send(browser, batch, "release", reason="reworked by hand", person=shop.people[0])
    assert "Released." in page
    assert "on hold" not in told(page)
    assert "contradicts" not in told(page)


def test_striking_the_reflow_out_settles_it(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """It did not happen: the hold stands, the log agrees with itself."""
    new = NewEvent(str(uuid4()), "", "reflow", NOW - 600)
    boards.record(batch, new, NOW)
    fix = {"event": new.id, "reason": "wrong batch", "person": shop.people[0], "how": "void"}
    page = send(browser, batch, "correct", **fix)
    assert "Hold for quality: tombstones." in told(page)
    assert "contradicts" not in told(page)


def test_what_happened_to_the_carrier_before_is_corrected_on_its_own_log(
    browser: FlaskClient, shop: Workshop
) -> None:
    """A reel that was loaded while on hold: the link leads to that event, not to the boards'."""
    hold = NewEvent(str(uuid4()), shop.usable, "hold", NOW - 900, reason="dropped")
    loading = NewEvent(str(uuid4()), shop.usable, "load", NOW - 800)
    event_recording.record([hold, loading], NOW)
    code = boards.create(NewBatch("Mast board", 5, shop.line), NOW)[0].code
    placing = NewEvent(
        str(uuid4()), shop.usable, "place_on_board", NOW - 700, quantity=5, board=code
    )
    event_recording.record([placing], NOW)
    page = browser.get(f"/boards/{code}").text
    assert "it was loaded while on hold." in told(page)
    (url,) = {found for found in re.findall(r'href="([^"]+)"', page) if loading.id in found}
    assert browser.get(url).status_code == 200
