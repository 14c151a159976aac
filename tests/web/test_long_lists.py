"""Pages of a large factory: what one can't hold is counted, and where the rest is said."""

from __future__ import annotations

import re
from datetime import date

import pytest
from flask.testing import FlaskClient

from msdtrack.printing.codes import make_action_code
from msdtrack.services import boards, measurements, receiving, sample_checks
from msdtrack.services.boards import NewBatch
from msdtrack.services.receiving import NewCarrier
from msdtrack.services.sample_checks import NewCheck
from msdtrack.services.sample_scans import CheckScan, scan
from tests.web.conftest import NOW, ORIGIN
from tests.web.workshop import Workshop, placed_batch, record


def received(shop: Workshop, lot: str, count: int) -> list[str]:
    """Receive carriers of a lot in the store."""
    new = NewCarrier(
        "WB-PRS-3", lot, 100, "reel", sealed_on=date(2026, 4, 1), place=shop.store,
        received_at=NOW - 3600,
    )  # fmt: skip
    return [receiving.receive(new, NOW)[0].code for _ in range(count)]


def test_a_cabinet_counts_all_that_is_in_it(
    browser: FlaskClient, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    for code in received(shop, "K-1", 3):
        record(code, "move", NOW - 60, NOW, place=shop.cabinet)
    whole = browser.get(f"/cabinets/{shop.cabinet}").text
    assert "more in the cabinet" not in whole
    monkeypatch.setattr("msdtrack.web.pages.cabinets.MOST_ROWS", 2)
    text = browser.get(f"/cabinets/{shop.cabinet}").text
    assert "2 more in the cabinet" in text
    assert f'href="/carriers?place={shop.cabinet}"' in text
    assert text.count('data-name="a fault"') == 2
    inside = r"<dd>4\s*<small>carriers"
    assert re.search(inside, whole)
    assert re.search(inside, text)
    assert "<dd>4 carriers</dd>" in browser.get("/cabinets").text


def test_a_place_shows_the_most_urgent_and_leads_to_its_watch_list(
    browser: FlaskClient, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = browser.get(f"/places/{shop.line}").text
    count = whole.count('<td data-name="left">')
    assert count > 2
    assert "more here" not in whole
    monkeypatch.setattr("msdtrack.web.pages.places.MOST_ROWS", 2)
    text = browser.get(f"/places/{shop.line}").text
    assert text.count('<td data-name="left">') == 2
    assert f"{count - 2} more here" in text
    assert f'href="/watch?place={shop.line}"' in text


def test_the_end_of_a_shift_counts_what_is_out_at_each_place(
    browser: FlaskClient, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not what stands on the page of it."""
    whole = browser.get("/shift").text
    (count,) = re.findall(r"<h3>Line 1 \((\d+)\)</h3>", whole)
    monkeypatch.setattr("msdtrack.web.pages.shift.MOST_ROWS", 1)
    text = browser.get("/shift").text
    assert re.findall(r"<h3>([^<]*)</h3>", text) == [f"Line 1 (the most urgent 1 of {count})"]


def test_a_batch_in_work_is_listed_however_many_came_after_it(
    browser: FlaskClient, shop: Workshop
) -> None:
    """The most urgent ones, where a page can't hold all; how many more there are is said."""
    old, older = placed_batch(shop, shop.usable), placed_batch(shop, shop.usable)
    urgent = placed_batch(shop, shop.short)
    for n in range(101):
        boards.create(NewBatch(f"Mast board {n}", 5, shop.line), NOW + 60)
    text = browser.get("/boards").text
    for code in (old, older, urgent):
        assert f'href="/boards/{code}"' in text
    assert text.count('class="part"') == 103
    assert "more in work" not in text
    found = boards.listed(NOW + 60, limit=1)
    assert [state.batch.code for state in found.states][:1] == [urgent]
    assert (len(found.states), found.beyond) == (2, 2)


def test_the_release_of_a_lot_of_many_is_told_in_a_line(
    browser: FlaskClient, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A browser drops words of more than 4 KB that it is to bring back with the next page."""
    monkeypatch.setattr("msdtrack.web.check_pages.MOST_ROWS", 5)
    monkeypatch.setattr("msdtrack.web.desk.MOST_TOLD", 10)
    codes = received(shop, "M-1", 12)
    who = shop.people[0]
    measurements.set_limits("WB-PRS-3", "bare", "offset;-1;1;mV", who, "drawing 7", NOW)
    planned = NewCheck("WB-PRS-3", "M-1", "bare", 1200, "II", "0.65", 1, 0, 1, who, "agreed")
    number = sample_checks.create(planned, NOW)[0].number
    for n, code in enumerate([codes[0], make_action_code("OPEN"), make_action_code("HICDRY"), "1"]):
        scan(CheckScan(f"00000000-0000-4000-8000-{n:012d}", number, code), NOW, who)
    fields = {"table": "piece;offset\n1;5", "person": who}
    browser.post(f"/checks/{number}/measure/table", data=fields, headers=ORIGIN)
    text = browser.get(f"/checks/{number}").text
    assert re.search(r"Held by this check</dt><dd>13<small>of 13 carriers", text)
    assert "and 8 more" in text
    assert "and 8 more" in browser.get(f"/checks/{number}/proof").text
    sent = {"which": "", "person": who, "reason": "measured one by one"}
    answer = browser.post(f"/checks/{number}/release", data=sent, headers=ORIGIN)
    assert len(answer.headers["Set-Cookie"]) < 4096
    assert "and 3 more." in browser.get(answer.headers["Location"]).text
