"""The page that plans a run: what it says, what it refuses, and that nothing typed is lost."""

from __future__ import annotations

import html
import re
from datetime import date
from typing import Any
from urllib.parse import urlencode

import pytest
from flask.testing import FlaskClient

from msdtrack.services import catalog, receiving
from msdtrack.services.catalog import NewPlace
from msdtrack.services.receiving import NewCarrier
from msdtrack.services.run_needs import MOST_CHARACTERS, MOST_LINES
from tests.web.conftest import NOW, Clock
from tests.web.workshop import HOUR_S, Workshop

TOMORROW = {"begins": "2026-05-15T06:00", "ends": "2026-05-15T14:00"}


def asked(browser: FlaskClient, needs: str, **given: str) -> tuple[int, str]:
    """Return the status and the text of the page."""
    query = {"place": "Line 1", **TOMORROW, "needs": needs, **given}
    answer = browser.get(f"/plan?{urlencode(query)}")
    return answer.status_code, answer.text


def words(text: str) -> str:
    """Return what a page says, without its tags."""
    main = text[text.index("<main") :]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", main)).split())


def typed(text: str) -> str:
    """Return what stands in the field of needs."""
    found = re.search(r"<textarea[^>]*>\n?(.*?)</textarea>", text, re.S)
    assert found is not None
    return html.unescape(found[1])


def test_it_starts_with_an_early_shift_tomorrow_on_the_only_line(
    browser: FlaskClient, shop: Workshop
) -> None:
    text = browser.get("/plan").text
    for value in ("Line 1", *TOMORROW.values()):
        assert f'value="{value}"' in text
    assert typed(text) == ""
    assert "Start with parts that are on hand" in text


def test_the_example_is_a_plan_of_what_is_on_hand(browser: FlaskClient, shop: Workshop) -> None:
    link = re.search(r'href="(/plan\?[^"]+)"', browser.get("/plan").text)
    assert link is not None
    answer = browser.get(html.unescape(link[1]))
    assert answer.status_code == 200
    assert typed(answer.text).startswith("WB-PRS-3; 1250")
    assert "Run on Line 1" in answer.text


def test_with_nothing_on_file_it_says_what_to_do_first(browser: FlaskClient) -> None:
    answer = browser.get("/plan")
    assert answer.status_code == 200
    assert "No line is on file yet." in answer.text
    assert "on hand" not in words(answer.text)


def test_a_plan_says_what_to_take_open_and_leave(browser: FlaskClient, shop: Workshop) -> None:
    """Out first, the least left first; then the bag; the others with their reasons."""
    status, text = asked(browser, "WB-PRS-3\t1400")
    assert status == 200
    said = words(text)
    assert "Fri 15 May 06:00 to the last reflow, Fri 15 May 14:00" in said
    assert "Open tomorrow 1 bag" in said
    assert "Short 0 parts" in said
    assert re.search(f"1 {shop.usable}.*Use it first.*2 {shop.opened}.*3 {shop.closed}", said)
    assert "1400 pieces needed, 1500 found" in said
    assert f"{shop.expired} E-1 Line 1 500 Its floor life is used up." in said
    assert "1 more carrier is on hand and not needed; not each was looked at." in said
    assert "30.0 °C / 60.0 % RH , assumed" in said
    assert "Computed at Thu 14 May 13:00" in said


def test_a_verdict_is_a_word_with_a_shape_of_its_own(browser: FlaskClient, shop: Workshop) -> None:
    """Covered, short, and, of level 5a with its 24 h in a run of 26, covered only later."""
    new = NewCarrier("WB-MEM-5A", "L-1", 50, "reel", sealed_on=date(2026, 4, 1), place=shop.store)
    receiving.receive(new, NOW)
    for needs, given, kind, word in (
        ("WB-PRS-3 500", {}, "ok", "Covered"),
        ("WB-PRS-3 5000", {}, "stop", "Short by 3500"),
        ("WB-MEM-5A 9", {"ends": "2026-05-16T08:00"}, "soon", "Covered from Fri 08:01 only"),
    ):
        _, text = asked(browser, needs, **given)
        head = text[text.index("plan-part-head") :]
        assert f'class="mark mark-{kind}"' in head[: head.index(word)]


def test_what_is_baked_before_is_a_list_of_its_own(browser: FlaskClient, shop: Workshop) -> None:
    """9 days out of 7, up to 72 h over: 7 h at 125 °C, so in by 23:00."""
    catalog.amend_part("WB-PRS-3", {"carrier_max_c": 140}, NOW)
    status, text = asked(browser, "WB-PRS-3 2000")
    said = words(text)
    assert status == 200
    assert "Bake tonight 1 carrier" in said
    assert f'href="/ovens/{shop.oven}"' in text
    assert "125 °C, 7 h: in the hot oven by 23:00" in said
    assert "Oven, trays and parts are hot" in said
    assert "Covered after a bake" in said
    assert re.search(f"{shop.expired} WB-PRS-3 E-1 Line 1 500 .*Bake it before: 7 h at 125", said)


def test_why_there_is_no_bake_stands_as_it_was_said(browser: FlaskClient, shop: Workshop) -> None:
    """Trays of 125 °C, and an oven that reaches 100 °C."""
    catalog.amend_part("WB-PRS-3", {"carrier_max_c": 125, "max_bake_c": 125}, NOW)
    catalog.amend_place(shop.oven, {"max_temp_c": 100}, NOW)
    said = words(asked(browser, "WB-PRS-3 2000")[1])
    assert "Its floor life is used up. No oven here fits: it needs 7 h at 125 °C." in said


def test_of_hundreds_the_first_are_named(
    browser: FlaskClient, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("msdtrack.web.plan_rows.MOST_TAKEN", 2)
    _, text = asked(browser, "WB-PRS-3 1400")
    assert shop.opened in text
    assert shop.closed not in text
    assert "and 1 more" in words(text)


def test_a_plan_stays_at_its_address(browser: FlaskClient, shop: Workshop) -> None:
    """It is made anew from there, with what has happened meanwhile."""
    _, text = asked(browser, "WB-PRS-3 1400")
    link = re.search(r'class="button" href="(/plan\?[^"]+)"', text)
    assert link is not None
    again = browser.get(html.unescape(link[1])).text
    assert words(again) == words(text)


def test_a_part_twice_is_summed_and_said(browser: FlaskClient, shop: Workshop) -> None:
    status, text = asked(browser, "WB-PRS-3;100\n\nWB-CND-5, 1\nWB-PRS-3 50")
    assert status == 200
    assert "WB-PRS-3 stands in lines 1, 4: 150 pieces in all." in words(text)
    assert "150 pieces needed" in words(text)
    many = words(asked(browser, "WB-PRS-3;1\n" * MOST_LINES)[1])
    assert "lines 1, 2, 3, 4, 5, 6, 7, 8, 9 and 191 more: 200 pieces in all." in many


def test_what_a_program_marks_a_text_with_is_no_part_of_it(
    browser: FlaskClient, shop: Workshop
) -> None:
    """A byte order mark before the first line, and the line ends of another system."""
    status, text = asked(browser, "\ufeffWB-PRS-3\t100\r\nWB-CND-5\t1\r\n")
    assert status == 200
    assert "100 pieces needed" in words(text)


@pytest.mark.parametrize("place", ["line 1", "{line}", "Bench"])
def test_the_line_is_named_or_scanned(place: str, browser: FlaskClient, shop: Workshop) -> None:
    status, _ = asked(browser, "WB-PRS-3 1", place=place.format(line=shop.line))
    assert status == 200


@pytest.mark.parametrize(
    ("needs", "said"),
    [
        ("WB-PRS-3 1\nNONE;5", "Line 2: there is no part NONE."),
        ("wb-prs-3 1", "Line 1: there is no part wb-prs-3. Is it WB-PRS-3?"),
        ("WB-PRS-3\t1,200", 'Line 1: "1,200" is no whole number of pieces: write 1200.'),
        ("WB-PRS-3 1,200", "Line 1: it can be read in two ways"),
        ("WB-PRS-3 1 200", "Line 1: it can be read in two ways"),
        ("WB-PRS-3\t-5", 'Line 1: "-5" is no whole number of pieces.'),
        ("WB-PRS-3;0", "Line 1: from 1 to 1000000000 pieces."),
        ("WB-PRS-3;10000000000", "Line 1: from 1 to 1000000000 pieces."),
        ("WB-PRS-3;9999999999999999999999", "is no whole number of pieces."),
        ("WB-PRS-3;²", 'Line 1: "²" is no whole number of pieces.'),
        ("WB-PRS-3", "Line 1: give a part and its pieces, such as WX-100 250."),
        ("Part\tPieces", 'Line 1: "Pieces" is no whole number of pieces.'),
        ("a\tb\tc", "Line 1: give two columns, the part and its pieces."),
        ("WB-PRS-3\x00;5", "Line 1: it holds a control character: type it anew."),
        ("  \n ", "Write at least one line"),
        ("WB-PRS-3 1\n" * (MOST_LINES + 1), f"201 lines, at most {MOST_LINES}"),
        ("x" * (MOST_CHARACTERS + 1), f"at most {MOST_CHARACTERS}: plan the run in two."),
    ],
)
def test_a_line_that_can_not_be_read_is_named_and_nothing_is_lost(
    needs: str, said: str, browser: FlaskClient, shop: Workshop
) -> None:
    status, text = asked(browser, needs)
    assert status == 422
    assert said in words(text)
    assert typed(text).replace("\r\n", "\n") == needs
    assert 'value="2026-05-15T06:00"' in text
    assert "Run on" not in text


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"place": ""}, "Fill this in."),
        ({"place": "Nowhere"}, "No line or floor area is called that"),
        ({"place": "P0000012"}, "One character is wrong or missing"),
        ({"place": "Cabinet"}, "No line or floor area is called that"),
        ({"begins": ""}, "Fill this in."),
        ({"begins": "soon"}, "is not a time"),
        ({"ends": "2026-05-15T05:00"}, "The last reflow must be later than the beginning."),
        ({"begins": "2026-05-13T06:00", "ends": "2026-05-14T06:00"}, "That has passed"),
        ({"ends": "2027-05-15T05:00"}, "At most 92 days ahead."),
        # The clocks of the site are put back an hour that night.
        ({"begins": "2026-10-25T01:30", "ends": "2026-10-25T14:00"}, "occurs twice"),
    ],
)
def test_what_can_not_be_planned_stays_in_the_form(
    given: dict[str, str], said: str, browser: FlaskClient, shop: Workshop
) -> None:
    status, text = asked(browser, "WB-PRS-3; 7", **given)
    assert status == 422
    assert said in words(text)
    assert typed(text) == "WB-PRS-3; 7"
    for value in given.values():
        assert f'value="{value}"' in text


def test_a_cabinet_by_its_code_is_no_line(browser: FlaskClient, shop: Workshop) -> None:
    status, text = asked(browser, "WB-PRS-3; 7", place=shop.cabinet)
    assert status == 422
    assert "Cabinet is neither a line nor a floor area." in words(text)


def test_two_lines_of_one_name_are_told_apart_by_their_codes(
    browser: FlaskClient, shop: Workshop
) -> None:
    catalog.create_place(NewPlace(name="Line 1", kind="line"), NOW)
    assert "2 places are called that" in words(asked(browser, "WB-PRS-3 1")[1])
    assert asked(browser, "WB-PRS-3 1", place=shop.line)[0] == 200


def test_a_run_that_goes_on_is_planned_from_now(
    browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    wall_clock.now = NOW + 20 * HOUR_S
    status, text = asked(browser, "WB-PRS-3 100")
    assert status == 200
    assert "Open today" in words(text)
    assert "Fri 15 May 09:00 to the last reflow" in words(text)


def test_what_a_page_shows_is_escaped(browser: FlaskClient, shop: Workshop) -> None:
    _, text = asked(browser, "<b>x</b>; 1", place='"><script>')
    assert "<b>x</b>" not in text
    assert "<script>" not in text
    _, text = asked(browser, "</textarea><i>; 1")
    assert "<i>" not in text


def test_it_is_found_under_more(browser: FlaskClient, shop: Workshop) -> None:
    seen: Any = re.search(r'<a href="/plan"[^>]*>Plan a run</a>', browser.get("/watch").text)
    assert seen is not None
