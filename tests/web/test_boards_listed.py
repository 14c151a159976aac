"""Batches of boards stand on the screens beside the carriers: one row each, that leads to them."""

from __future__ import annotations

import re
from uuid import uuid4

import pytest
from flask.testing import FlaskClient

from msdtrack.services import alarm_rules, boards, event_recording
from msdtrack.services.boards import NewBatch
from msdtrack.services.event_recording import NewEvent
from tests.web.conftest import NOW, Clock
from tests.web.workshop import HOUR_S, Workshop, placed_batch


@pytest.fixture
def batch(shop: Workshop) -> str:
    """A batch at the line with the part that has 3 h left, after its first pass."""
    code = placed_batch(shop, shop.short)
    _happens(code, "reflow", peak_c=240.0)
    return code


def _happens(batch: str, kind: str, **what: object) -> None:
    boards.record(batch, NewEvent(str(uuid4()), "", kind, NOW, **what), NOW)  # type: ignore[arg-type]


def _rows(page: str) -> list[str]:
    return re.findall(r"<(?:tr|li)[^>]* data-row.*?</(?:tr|li)>", page, re.S)


def _row(page: str, batch: str) -> str:
    (row,) = [row for row in _rows(page) if batch in row]
    return row


def _text(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


@pytest.mark.parametrize("path", ["/watch", "/watch/data", "/line/{line}", "/line/{line}/data"])
def test_a_screen_has_one_row_for_the_batch(
    browser: FlaskClient, shop: Workshop, batch: str, path: str
) -> None:
    """Its name, code, worst part, time left, mark; its clock runs down on the screen."""
    page = browser.get(path.format(line=shop.line)).text
    row = _row(page, batch)
    told = _text(row)
    for words in ("Pressure board, top", batch, "Reflow first", "3 h 00 min"):
        assert words in told
    part = boards.batch_state(batch, NOW).placements[0].state.facts.part.number
    assert f"worst {part}" in told
    assert f'data-ends-at="{NOW + 3 * HOUR_S}"' in row
    (placement,) = boards.batch_state(batch, NOW).placements
    assert placement.placed.code not in page


def test_the_row_leads_to_the_batch_and_says_what_to_do(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """The watch list names the next pass, and finds the row by the name of the boards."""
    row = _row(browser.get("/watch").text, batch)
    assert f'href="/boards/{batch}"' in row
    assert "Reflow pass 2 first, or dry storage now." in _text(row)
    assert "pressure board, top" in row.split('data-words="')[1]


def test_it_stands_in_its_order_and_place(
    browser: FlaskClient, shop: Workshop, batch: str, wall_clock: Clock
) -> None:
    """Just behind the reel with the same time left; at the store it is not."""
    codes = re.findall(r"([CJ]00\w{5})", _text(" ".join(_rows(browser.get("/watch").text))))
    assert codes.index(batch) == codes.index(shop.short) + 1
    assert batch not in browser.get(f"/line/{shop.store}").text
    _happens(batch, "move", place=shop.store)
    wall_clock.now += 1
    assert batch in browser.get(f"/line/{shop.store}/data").text
    assert batch not in browser.get(f"/line/{shop.line}/data").text


def test_the_start_page_counts_it(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """One more to use first, one more on the list, and it is named with its link."""
    with_it = _figures(browser.get("/").text)
    assert f'<a href="/boards/{batch}"><b>Pressure board, top</b>' in browser.get("/").text
    _happens(batch, "scrap", person=shop.people[0], reason="warped")
    without = _figures(browser.get("/").text)
    assert with_it["Use first"] == without["Use first"] + 1
    assert with_it["On the watch list"] == without["On the watch list"] + 1


def _figures(page: str) -> dict[str, int]:
    found = re.findall(r"<dt>([^<]+)</dt><dd>(\d+)", page)
    return {name: int(number) for name, number in found}


def test_the_counts_of_the_watch_list_have_it(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """The summary above the rows counts each batch once, and no placement."""
    page = browser.get("/watch").text
    rows = len(_rows(page))
    told = _text(page.split('<p class="summary">')[1].split("</p>")[0])
    assert sum(int(number) for number in re.findall(r"\b(\d+)\b", told)) == rows
    _happens(batch, "move", place=shop.cabinet)
    page = browser.get("/watch").text
    told = _text(page.split('<p class="summary">')[1].split("</p>")[0])
    assert len(_rows(page)) == rows
    assert sum(int(number) for number in re.findall(r"\b(\d+)\b", told)) == rows
    assert _row(page, batch).count("In dry storage") + _row(page, batch).count("Leave dry") >= 1


def test_a_line_screen_counts_what_does_not_fit(
    browser: FlaskClient, shop: Workshop, batch: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows and the number beyond them are all that is there, placements in a bag left out."""
    _happens(batch, "close", desiccant="fresh", new_hic="fresh", seal="heat")
    whole = browser.get(f"/line/{shop.line}/data").text
    count = len(_rows(whole))
    monkeypatch.setattr("msdtrack.web.pages.line.MOST_ROWS", 2)
    page = browser.get(f"/line/{shop.line}").text
    assert len(_rows(page)) == 2
    assert int(re.findall(r'data-beyond="(\d+)"', page)[0]) == count - 2


def test_the_page_of_the_place_lists_it(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """What is exposed there includes the boards."""
    page = browser.get(f"/places/{shop.line}").text
    assert f'href="/boards/{batch}">{batch}</a> Pressure board, top' in page


def test_an_alarm_leads_to_the_boards(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """Its message names the batch; the link opens its page."""
    alarm_rules.evaluate(NOW)
    page = browser.get("/alarms").text
    assert f"on boards {batch} (Pressure board, top) runs out within" in page
    assert f'<a href="/boards/{batch}">boards {batch}</a>' in page
    assert "Pressure board, top" in browser.get(f"/line/{shop.line}/data").text


def test_names_are_shown_as_written(browser: FlaskClient, shop: Workshop) -> None:
    """A name with signs in it breaks no page."""
    name = 'Mast <b>"A"</b> & co'
    code = boards.create(NewBatch(name, 5, shop.line), NOW)[0].code
    placing = NewEvent(str(uuid4()), shop.short, "place_on_board", NOW, quantity=5, board=code)
    event_recording.record([placing], NOW)
    for path in ("/watch", f"/line/{shop.line}", "/"):
        page = browser.get(path).text
        assert name not in page
        assert "Mast &lt;b&gt;" in page
