"""One carrier: its verdict, its working with every cell in the tables, its log, as of any time."""

from __future__ import annotations

import html
import re

import pytest
from flask.testing import FlaskClient

from msdtrack.services import carrier_states
from msdtrack.store import carriers, prints
from tests.web.conftest import NOW
from tests.web.workshop import DRY, HOUR_S, Workshop, record


@pytest.mark.parametrize(
    ("carrier", "verdict", "words"),
    [
        ("usable", "May be used", "Usable"),
        ("short", "May be used", "Use first"),
        ("expired", "Do not use", "Its floor life is used up."),
        ("closed", "May be used", "In dry bag"),
        ("drying", "May be used", "In dry storage"),
        ("baking", "Do not use", "It is in a running bake."),
        ("unknown", "Do not use", "no confirmed dry bag and seal date"),
    ],
)
def test_the_verdict_is_in_plain_words(
    carrier: str, verdict: str, words: str, browser: FlaskClient, shop: Workshop
) -> None:
    """The page says whether it may be used, and why not."""
    text = browser.get(f"/carriers/{getattr(shop, carrier)}").text
    assert verdict in text
    assert words in text


def test_a_day_at_the_line_is_a_seventh_of_level_3(browser: FlaskClient, shop: Workshop) -> None:
    """24 h of 168 h floor life are 14.3 %, and the working shows the cell that was used.

    Source: J-STD-033, floor life of level 3 is 168 h at 30 °C / 60 % RH or less.
    """
    record(shop.closed, "open", NOW - 24 * HOUR_S, NOW, place=shop.line, hic=DRY)
    text = browser.get(f"/carriers/{shop.closed}").text
    assert "14.3 %" in text
    assert "24.0 of 168 h" in text
    assert "14.286 %" in text
    assert re.search(r"Table 7-1, thin</a>.*?level 3, 25 °C, 50 %:</span>.*?14.0 days", text, re.S)
    assert "24.5 °C / 47.0 % RH" in text
    assert "25.0 °C / 50.0 % RH" in text


def test_the_seal_date_is_that_of_the_shelf_life_that_counts(
    browser: FlaskClient, shop: Workshop
) -> None:
    """A heat seal with everything fresh begins a new one; a clip leaves the date of before."""
    before = re.findall(r"sealed [^<]*", browser.get(f"/carriers/{shop.closed}").text)
    record(shop.closed, "open", NOW - 5 * HOUR_S, NOW, hic=DRY)
    fresh = {"desiccant": "fresh", "new_hic": "fresh"}
    record(shop.closed, "close", NOW - 4 * HOUR_S, NOW, seal="clip", **fresh)
    assert re.findall(r"sealed [^<]*", browser.get(f"/carriers/{shop.closed}").text) == before
    record(shop.closed, "open", NOW - 3 * HOUR_S, NOW, hic=DRY)
    record(shop.closed, "close", NOW - 2 * HOUR_S, NOW, seal="heat", **fresh)
    text = browser.get(f"/carriers/{shop.closed}").text
    assert "sealed 14 May 2026" in text
    assert "<dt>Sealed on</dt><dd>14 May 2026</dd>" in text


def test_every_cell_of_a_working_leads_to_its_table(browser: FlaskClient, shop: Workshop) -> None:
    """The link of a cell goes to a block that the page of tables has."""
    tables = browser.get("/tables").text
    found = set()
    for code in shop.carriers:
        found |= set(re.findall(r'href="/tables#(\w+)"', browser.get(f"/carriers/{code}").text))
    assert found
    assert all(f'id="{anchor}"' in tables for anchor in found)


def test_the_working_sums_to_the_used_share(browser: FlaskClient, shop: Workshop) -> None:
    """The sum below the working is the used share of the state."""
    text = browser.get(f"/carriers/{shop.short}").text
    total = re.search(r"the sum of the shares.*?([\d.]+) %", text, re.S)
    assert total is not None
    state = carrier_states.state(shop.short, NOW)
    assert float(total[1]) == pytest.approx(float(state.used_share) * 100, abs=0.001)


def test_a_past_moment_can_be_asked_for(browser: FlaskClient, shop: Workshop) -> None:
    """`at` is in the site's zone (Lisbon is an hour ahead of UTC in May) and says it is past."""
    text = browser.get(f"/carriers/{shop.usable}?at=2026-05-14T10:00").text
    assert "As of Thu 14 May 10:00" in text
    assert "in a closed dry bag" in text
    assert "Back to now" in text
    assert "received only" not in text
    before = browser.get(f"/carriers/{shop.usable}?at=2020-05-14T10:00").text
    assert "It was received only" in before


def test_a_future_moment_is_a_forecast(browser: FlaskClient, shop: Workshop) -> None:
    """A moment ahead is called a forecast."""
    text = browser.get(f"/carriers/{shop.usable}?at=2026-05-20T10:00").text
    assert "Forecast for Wed 20 May 10:00" in text


def test_a_wrong_moment_is_said_in_words(browser: FlaskClient, shop: Workshop) -> None:
    """Text that is no time is refused with an example of one."""
    answer = browser.get(f"/carriers/{shop.usable}?at=yesterday")
    assert answer.status_code == 422
    assert "is not a time like" in answer.text


@pytest.mark.parametrize(
    ("as_", "mimetype", "start"),
    [("pdf", "application/pdf", b"%PDF"), ("a4", "application/pdf", b"%PDF"),
     ("203", "image/png", b"\x89PNG"), ("600", "image/png", b"\x89PNG")],
)  # fmt: skip
def test_a_label_is_printed_and_logged(
    as_: str, mimetype: str, start: bytes, browser: FlaskClient, shop: Workshop
) -> None:
    """The file comes at once; the print is on record."""
    answer = browser.post(
        f"/carriers/{shop.usable}/label", data={"layout": "100x50", "as": as_, "both": "yes"}
    )
    assert answer.status_code == 200
    assert answer.mimetype == mimetype
    assert answer.data.startswith(start)
    assert prints.prints(shop.usable)


def test_a_preview_is_no_print(browser: FlaskClient, shop: Workshop) -> None:
    """Looking at a label leaves no trace."""
    answer = browser.get(f"/carriers/{shop.usable}/label-preview/100x50.png")
    assert answer.data.startswith(b"\x89PNG")
    assert prints.prints(shop.usable) == []


def test_the_list_finds_by_words_and_place(browser: FlaskClient, shop: Workshop) -> None:
    """A lot, a part or a piece of a code finds; a place shows what is there now."""
    text = browser.get("/carriers?search=E-1").text
    assert shop.expired in text
    assert shop.usable not in text
    text = browser.get(f"/carriers?place={shop.cabinet}").text
    assert shop.drying in text
    assert shop.usable not in text


def test_what_is_gone_is_listed_when_it_is_asked_for(browser: FlaskClient, shop: Workshop) -> None:
    """Years of used-up reels do not hide what lies on the shelf; its proof is a click away."""
    record(shop.usable, "scrap", NOW, NOW, reason="used up")
    assert shop.usable not in browser.get("/carriers").text
    text = browser.get(f"/carriers?search={shop.usable}").text
    (more,) = re.findall(r'href="([^"]*gone=1[^"]*)"', text)
    assert shop.usable in browser.get(html.unescape(more)).text
    part = browser.get(f"/parts/{carriers.carrier(shop.usable).part}").text
    assert shop.usable not in part
    (those,) = re.findall(r'href="(/carriers[^"]*gone=1[^"]*)"', part)
    assert shop.usable in browser.get(html.unescape(those)).text
