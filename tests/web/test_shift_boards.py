"""End of shift: boards between reflows stand on its page, and their code is ticked off like any."""

from __future__ import annotations

import re
from uuid import uuid4

import pytest
from flask.testing import FlaskClient

from msdtrack.services import boards, event_recording
from msdtrack.services.boards import NewBatch
from msdtrack.services.event_recording import NewEvent
from tests.web.conftest import NOW
from tests.web.test_shift import Round
from tests.web.workshop import HOUR_S, Workshop, placed_batch


@pytest.fixture
def batch(shop: Workshop) -> str:
    """A batch at the line since an hour, with parts of the reel that was opened two hours ago."""
    return placed_batch(shop, shop.usable)


def row_of(page: str, batch: str) -> str:
    """The row of a batch, its tags taken out."""
    (row,) = [row for row in re.findall(r"<tr[^>]* data-row.*?</tr>", page, re.S) if batch in row]
    return row


def words(html: str) -> str:
    """What a reader sees."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


@pytest.mark.parametrize("path", ["/shift", "/shift?place={line}", "/shift/data?place={line}"])
def test_the_batch_stands_with_its_time_and_where_it_goes(
    browser: FlaskClient, shop: Workshop, batch: str, path: str
) -> None:
    """Name, code, worst part, time that counts down, the cabinet with its code, what to do."""
    row = row_of(browser.get(path.format(line=shop.line)).text, batch)
    told = words(row)
    for said in ("In time", "Pressure board, top", batch, "40 boards · worst WB-PRS-3, level 3"):
        assert said in told
    assert f"Cabinet {shop.cabinet}" in told
    assert "Reflow pass 1, or dry storage until then. After 10 h 00 min of dry storage" in told
    assert f'href="/boards/{batch}"' in row
    left_h = boards.batch_state(batch, NOW).remaining_h
    assert left_h is not None
    assert f'data-ends-at="{NOW + int(left_h * HOUR_S)}"' in row


def test_it_is_counted_once_and_only_where_it_is(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """Its placements do not stand beside it; at the store nothing is out."""
    page = browser.get("/shift").text
    count = re.search(r"Still out: (\d+)", page)
    assert count is not None
    assert int(count[1]) == page.count(" data-row")
    for one in boards.batch_state(batch, NOW).placements:
        assert one.placed.code not in page
    assert batch not in browser.get(f"/shift/data?place={shop.store}").text


def test_the_batch_then_a_place_ticks_it_off(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """The scan says where to; the cabinet's sign moves every part on the boards."""
    tour = Round(browser)
    assert "To: Cabinet. Reflow pass 1, or dry storage until then." in tour.scan(batch)
    assert "Ticked off" in tour.scan(shop.cabinet)
    assert batch not in tour.listed
    state = boards.batch_state(batch, NOW)
    assert (state.place, state.status) == (shop.cabinet, "dry_storage")
    assert f"Now at Cabinet. {batch}, " in tour.text
    done = tour.text.split("Done here: 1")[1].split("</ul>")[0]
    assert f"Moved {batch}" in words(done)


def test_the_printed_list_says_when_it_was_made(browser: FlaskClient, shop: Workshop) -> None:
    """On paper nothing counts down, and the foot of the page is left out."""
    assert '<p class="print-only">As of Thu 14 May 13:00.</p>' in browser.get("/shift/data").text


def test_boards_that_stay_out_are_not_ticked_off(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """On the bench their time runs as before: they still have to go somewhere."""
    tour = Round(browser)
    text = tour.scan(batch, shop.bench)
    assert "Ticked off" not in text
    assert "To: Cabinet." in text
    assert boards.batch_state(batch, NOW).place == shop.bench
    assert batch in tour.listed


def test_a_name_is_shown_as_it_was_written(browser: FlaskClient, shop: Workshop) -> None:
    """Signs in it break no page."""
    code = boards.create(NewBatch("Mast <b>& co", 5, shop.line), NOW)[0].code
    placing = NewEvent(str(uuid4()), shop.usable, "place_on_board", NOW, quantity=5, board=code)
    event_recording.record([placing], NOW)
    assert "Mast &lt;b&gt;&amp; co" in browser.get("/shift").text


def test_a_page_holds_the_most_urgent_and_says_how_many_more_there_are(
    browser: FlaskClient, shop: Workshop, batch: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ticked off, the next ones come up; a place shows its own."""
    whole = browser.get("/shift").text
    rows = re.findall(r'class="code" href="[^"]*">([^<]+)<', whole.split("Still out")[1])
    assert len(rows) > 3
    monkeypatch.setattr("msdtrack.web.pages.shift.MOST_ROWS", 2)
    tour = Round(browser)
    assert f"Still out: {len(rows)}" in tour.text
    assert f"{len(rows) - 2} more still out" in tour.text
    shown = re.findall(r'class="code" href="[^"]*">([^<]+)<', tour.text.split("Still out")[1])
    assert set(shown) < set(rows)
    assert len(shown) == 2
    tour.scan(shop.usable, shop.cabinet)
    assert f"Still out: {len(rows) - 1}" in tour.text
