"""Ovens: a load by scanning, mistakes said before anything is written, labels after the bake."""

from __future__ import annotations

import re
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient

from msdtrack.printing.codes import make_action_code
from msdtrack.services import catalog, event_recording
from msdtrack.services.carrier_states import state
from tests.web.conftest import NOW, Clock
from tests.web.workshop import HOUR_S, Workshop, record


class Oven:
    """The page of the workshop's oven: what its field gets, and what it says."""

    def __init__(self, browser: FlaskClient, code: str) -> None:
        self.browser, self.code = browser, code
        self.url = f"/ovens/{code}"
        self.text = self.open()

    def open(self) -> str:
        answer = self.browser.get(self.url)
        assert answer.status_code == 200, answer.text
        self.text = answer.text
        return answer.text

    def scan(self, *codes: str) -> str:
        """Scan codes one after the other; return the page after the last."""
        for code in codes:
            query = parse_qs(urlsplit(self.url).query)
            load = re.search(r'name="load" value="([^"]+)"', self.text)
            assert load is not None
            sent = {**{name: query.get(name, []) for name in ("carrier", "out")}, "load": load[1]}
            answer = self.browser.post(
                f"/ovens/{self.code}/scan", data={**sent, "code": ["", code]}
            )
            assert answer.status_code == 303, answer.text
            self.url = answer.headers["Location"]
            self.open()
        return self.text


@pytest.fixture
def oven(browser: FlaskClient, shop: Workshop) -> Oven:
    """The page of the oven in which one carrier bakes."""
    return Oven(browser, shop.oven)


def _tray(shop: Workshop, hours_ago: float) -> str:
    """Return a tray of level 5 that stands 125 °C, opened so long ago."""
    from datetime import UTC, datetime, timedelta

    from msdtrack.services import receiving
    from msdtrack.services.receiving import NewCarrier

    sealed_on = datetime.fromtimestamp(NOW, UTC).date() - timedelta(days=40)
    new = NewCarrier(
        part="WB-CND-5", lot="T-1", quantity=50, kind="tray", sealed_on=sealed_on,
        place=shop.store, received_at=NOW - 20 * 24 * HOUR_S,
    )  # fmt: skip
    code = receiving.receive(new, NOW)[0].code
    if hours_ago:
        record(code, "open", NOW - round(hours_ago * HOUR_S), NOW, place=shop.line)
    return code


def test_the_list_shows_what_bakes(browser: FlaskClient, shop: Workshop) -> None:
    """Each oven with its bakes and the cautions."""
    text = browser.get("/ovens").text
    assert shop.baking in text
    assert "Plastic carriers warp or melt" in text
    assert "displaces the air you breathe" in text or "displace the air you breathe" in text


def test_the_bake_before_dry_packing_is_looked_up(browser: FlaskClient, shop: Workshop) -> None:
    """Hours at both temperatures with their source; an unknown part is said."""
    text = browser.get("/ovens", query_string={"part": "WB-PRS-3"}).text
    assert "At 125 °C" in text
    assert "At 150 °C" in text
    assert "Table 4-2" in text
    assert "no part" in browser.get("/ovens", query_string={"part": "WB-NONE"}).text.lower()


def test_a_load_is_scanned_together_and_started_by_its_action(oven: Oven, shop: Workshop) -> None:
    """Carrier, carrier, badge, "Bake at 125 °C": both bake, in that person's name."""
    one, other = _tray(shop, 80), _tray(shop, 70)
    text = oven.scan(one, other)
    assert "Load of 2" in text
    assert "Start: " in text
    assert "In the load already" in oven.scan(one)
    assert event_recording.log_of(one)[-1].event.kind == "open"
    text = oven.scan(shop.people[0], make_action_code("BAKE125"))
    assert "Bake started" in text
    assert state(one, NOW).status == state(other, NOW).status == "baking"
    assert event_recording.log_of(one)[-1].event.person == shop.people[0]
    assert "Load of" not in text


def test_a_bag_must_be_opened_first(oven: Oven, shop: Workshop) -> None:
    """It is named with what to do; left out by a number, the rest can start."""
    closed, tray = _tray(shop, 0), _tray(shop, 80)
    text = oven.scan(tray, closed)
    assert "Can&#39;t go in" in text
    assert "Open it first: no bag, desiccant or card in the oven." in text
    assert "Start: " not in text
    text = oven.scan(make_action_code("BAKE125"))
    assert closed in text
    assert state(tray, NOW).status == "exposed"
    text = oven.scan("1")
    assert f"Set aside: {closed}" in text
    assert "Bake started" in oven.scan("1")
    assert state(tray, NOW).status == "baking"


def test_a_reel_is_not_put_into_a_hot_oven(oven: Oven, shop: Workshop) -> None:
    """The reason names its heat; nothing starts."""
    text = oven.scan(shop.expired)
    assert "The oven runs at 125 °C." in text
    assert "stands 40 °C at most" in text


def test_a_wrong_code_changes_nothing(oven: Oven, shop: Workshop) -> None:
    """A misread code, a number nobody offered, an action that has no meaning here."""
    tray = _tray(shop, 80)
    oven.scan(tray)
    assert "Code not valid" in oven.scan("C000001Z")
    assert "There is no choice 9 now" in oven.scan("9")
    assert "does nothing at this oven" in oven.scan(make_action_code("SCRAP"))
    assert "Load of 1" in oven.text


def test_an_early_end_is_confirmed_by_number(oven: Oven, shop: Workshop) -> None:
    """Scanned, it is only marked; the page says that it resets nothing; the number ends it."""
    text = oven.scan(shop.baking)
    assert "Not complete" in text
    assert "Taken out now the bake resets nothing" in text
    assert state(shop.baking, NOW).status == "baking"
    assert "Not complete" in oven.scan(make_action_code("BAKEEND"))
    assert "confirm it first" in oven.scan(shop.bench)
    assert state(shop.baking, NOW).status == "baking"
    text = oven.scan("1")
    assert "Ended early, nothing is reset" in text
    assert state(shop.baking, NOW).used_share >= 1
    assert "Labels after the bake" not in text


def test_a_complete_bake_ends_at_the_place_that_is_scanned(
    oven: Oven, shop: Workshop, wall_clock: Clock
) -> None:
    """The oven's own code marks all that is done; the bench takes it; its label can be printed."""
    wall_clock.now = NOW + 60 * HOUR_S
    oven.open()
    assert "Overdue: take out" in oven.text
    assert "Take out: done" in oven.scan(shop.oven)
    text = oven.scan(shop.bench)
    assert "Floor life whole again" in text
    after = state(shop.baking, wall_clock.now)
    assert after.ledger.place == shop.bench
    assert after.used_share == 0
    assert "Labels after the bake" in text
    pdf = oven.browser.post("/ovens/labels", data={"carrier": shop.baking, "layout": "62x29"})
    assert pdf.data.startswith(b"%PDF")


def test_sent_twice_a_bake_is_started_once(browser: FlaskClient, shop: Workshop) -> None:
    """The same form again, after an answer that got lost."""
    tray = _tray(shop, 80)
    sent = {"carrier": tray, "load": "5b8a4a3e-0000-4000-8000-000000000001", "code": "1"}
    for _ in range(2):
        assert browser.post(f"/ovens/{shop.oven}/scan", data=sent).status_code == 303
    assert state(tray, NOW).ledger.bakes == 1


def test_the_live_part_is_polled(browser: FlaskClient, shop: Workshop) -> None:
    """What bakes, how far; unchanged it is 304."""
    answer = browser.get(f"/ovens/{shop.oven}/data")
    assert shop.baking in answer.text
    assert "of 96 h" in answer.text
    again = browser.get(
        f"/ovens/{shop.oven}/data", headers={"If-None-Match": answer.headers["ETag"]}
    )
    assert again.status_code == 304


def test_what_is_no_oven_has_no_page(browser: FlaskClient, shop: Workshop) -> None:
    """Said in words."""
    assert browser.get(f"/ovens/{shop.cabinet}").status_code == 404
    assert catalog.place(shop.cabinet).name in browser.get(f"/ovens/{shop.cabinet}").text
