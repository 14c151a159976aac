"""The boards' pages: scans in the order a person does them, mistakes included."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import boards, catalog
from msdtrack.services.boards import NewBatch
from msdtrack.services.carrier_states import state
from msdtrack.services.receiving import NewCarrier, receive
from tests.web.conftest import NOW, Clock
from tests.web.workshop import HOUR_S, Workshop

UNKNOWN = "J000999X"


@pytest.fixture
def batch(shop: Workshop) -> str:
    """A batch at the line."""
    return boards.create(NewBatch("Pressure board, top", 40, shop.line), NOW)[0].code


def scan(browser: FlaskClient, batch: str, code: str) -> str:
    """Scan on the batch's page and return the page it leads to."""
    answer = browser.post(f"/boards/{batch}/scan", data={"scan": code, "request_id": _fresh()})
    assert answer.status_code == 303
    return browser.get(answer.headers["Location"]).text


def send(browser: FlaskClient, batch: str, what: str, **fields: str) -> str:
    """Send one form of the batch's page and return what it answers."""
    data = {"request_id": _fresh()} | fields
    return browser.post(f"/boards/{batch}/{what}", data=data, follow_redirects=True).text


def place(browser: FlaskClient, batch: str, carrier: str, quantity: str = "40") -> str:
    """Scan a carrier and key in the pieces."""
    page = scan(browser, batch, carrier)
    assert f'name="carrier" value="{carrier}"' in page
    return send(browser, batch, "place", carrier=carrier, quantity=quantity)


_made = 0


def _fresh() -> str:
    global _made
    _made += 1
    return f"00000000-0000-4000-8000-{_made:012d}"


def test_an_empty_site_says_so(browser: FlaskClient) -> None:
    """The lists say that nothing is there; the navigation leads here."""
    page = browser.get("/boards").text
    assert "No batch faces another reflow" in page
    assert 'href="/boards"' in page


def test_a_carrier_scanned_first_begins_a_batch(browser: FlaskClient, shop: Workshop) -> None:
    """Scan the reel, name the batch, key in the pieces: it is placed."""
    answer = browser.post("/boards/scan", data={"scan": shop.usable})
    page = browser.get(answer.headers["Location"]).text
    assert f'name="carrier" value="{shop.usable}"' in page
    made = browser.post(
        "/boards",
        data={"name": "Logger", "boards": "25", "place": shop.line, "carrier": shop.usable},
    )
    code = re.search(r"/boards/(J\w+)\?carrier=", made.headers["Location"])
    assert code is not None
    assert 'value="25"' in browser.get(made.headers["Location"]).text
    told = send(browser, code[1], "place", carrier=shop.usable, quantity="25")
    assert f"25 pieces of {shop.usable}" in told
    assert state(shop.usable, NOW).ledger.quantity == 475


def test_a_wrong_form_of_a_batch_keeps_what_was_typed(browser: FlaskClient, shop: Workshop) -> None:
    """The finding stands beside its field."""
    answer = browser.post("/boards", data={"name": "Logger", "boards": "0"})
    assert answer.status_code == 422
    assert 'value="Logger"' in answer.text
    assert "At least 1" in answer.text


def test_more_pieces_than_there_are_can_be_keyed_in_anew(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """The page stays with the carrier and says how many there are."""
    page = place(browser, batch, shop.usable, "501")
    assert "holds 500 pieces" in page
    assert 'name="quantity"' in page
    assert boards.batch_state(batch, NOW).placements == ()


def test_a_carrier_in_its_closed_bag_is_refused_in_words(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """A screen refuses what contradicts the log, and changes nothing."""
    assert "no opening on record" in place(browser, batch, shop.closed)
    assert boards.batch_state(batch, NOW).placements == ()
    assert state(shop.closed, NOW).conflicts == ()


def test_a_carrier_that_must_not_be_used_is_told_before_it_is_placed(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """Word and shape; what was placed all the same is recorded, and the batch has it."""
    assert "Do not use" in scan(browser, batch, shop.expired)
    send(browser, batch, "place", carrier=shop.expired, quantity="40")
    page = browser.get(f"/boards/{batch}").text
    assert "Bake first" in page
    assert "Its floor life is used up." in page


def test_a_place_moves_the_boards_and_an_oven_asks_for_the_temperature(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """Each scan says what it did."""
    place(browser, batch, shop.usable)
    assert "The boards are at Cabinet now." in scan(browser, batch, shop.cabinet)
    assert "In dry storage" in browser.get("/boards").text
    assert "at Cabinet already" in scan(browser, batch, shop.cabinet)
    asked = scan(browser, batch, shop.oven)
    assert "Bake in Oven" in asked
    assert "connectors" in asked
    assert "The bake has begun" in send(browser, batch, "bake_start", oven=shop.oven, temp_c="125")
    assert "let them cool" in send(browser, batch, "bake_end", place=shop.line)


def test_a_bake_that_would_ruin_a_part_is_refused(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """The finding stands beside the temperature."""
    catalog.amend_part("WB-PRS-3", {"max_bake_c": 100.0}, NOW, reason="maker's note")
    place(browser, batch, shop.usable)
    page = send(browser, batch, "bake_start", oven=shop.oven, temp_c="125")
    assert "stands 100 °C at most" in page
    assert boards.batch_state(batch, NOW).status == "on_board"


def test_passes_up_to_the_last_one(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """Pass by pass with its body temperature; then the batch stands among the finished ones."""
    place(browser, batch, shop.usable)
    assert "Reflow pass 1 is on the log." in send(
        browser, batch, "reflow", peak_c="243,5", last="more"
    )
    assert "1 of 3" in browser.get("/boards").text
    assert "Reflow pass 2 is on the log." in send(browser, batch, "reflow", last="last")
    page = browser.get("/boards").text
    assert "No batch faces another reflow" in page
    assert "Soldered. No bake needed now before heat above 200 °C." in page


def test_a_body_too_hot_is_flagged(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """The limit is the part's classification temperature."""
    catalog.amend_part("WB-PRS-3", {"peak_body_c": 245.0}, NOW, reason="data sheet")
    place(browser, batch, shop.usable)
    page = send(browser, batch, "reflow", peak_c="251", last="more")
    assert "got hotter than its part is rated for" in page


def test_a_form_sent_twice_is_one_pass(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """A second press of the button changes nothing."""
    place(browser, batch, shop.usable)
    form = {"request_id": _fresh(), "peak_c": "240", "last": "more"}
    for _ in range(2):
        browser.post(f"/boards/{batch}/reflow", data=form)
    assert boards.batch_state(batch, NOW).passes == 1


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"peak_c": "hot", "last": "more"}, "is no number"),
        ({"peak_c": "1e309", "last": "more"}, "Not a number"),
        ({"peak_c": "240", "last": "more", "at": "2026-02-30T10:00"}, "2026-02-30"),
        ({"peak_c": "240", "last": "more", "request_id": ""}, "load it again"),
        ({"peak_c": "20", "last": "more"}, "At least 100"),
        ({"peak_c": "240"}, "Fill this in"),
    ],
)
def test_a_wrong_pass_is_not_recorded(
    browser: FlaskClient, shop: Workshop, batch: str, fields: dict[str, str], words: str
) -> None:
    """And says what is wrong."""
    place(browser, batch, shop.usable)
    assert words in send(browser, batch, "reflow", **fields)
    assert boards.batch_state(batch, NOW).passes == 0


def test_the_dry_bag_and_its_card(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """Closed, then opened with what the card shows; closing twice is refused."""
    place(browser, batch, shop.usable)
    assert "In dry bag" in send(browser, batch, "close", seal="CLOSEFRESH")
    assert "says otherwise" not in send(browser, batch, "open", hic="HICDRY")
    send(browser, batch, "close", seal="CLOSEFRESH")
    assert "says otherwise" in send(browser, batch, "close", seal="CLOSEFRESH")
    assert "humidity indicator card failed" in send(browser, batch, "open", hic="HIC10")


def test_a_hold_needs_a_name_and_a_reason(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """Then the list says so too."""
    place(browser, batch, shop.usable)
    assert "Fill this in" in send(browser, batch, "hold", reason="tombstones")
    send(browser, batch, "hold", reason="tombstones", person=shop.people[0])
    assert "Hold for quality: tombstones." in browser.get("/boards").text
    send(browser, batch, "release", reason="reworked", person=shop.people[0])
    assert "tombstones" not in browser.get("/boards").text


def test_an_entry_is_struck_out_with_name_and_reason(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """Both stay on the log, and the passes follow."""
    place(browser, batch, shop.usable)
    send(browser, batch, "reflow", peak_c="240", last="last")
    entry = boards.log_of(batch)[-1].event.id
    fix = {"event": entry, "reason": "another follows", "person": shop.people[1]}
    page = send(browser, batch, "correct", how="fields", last="more", **fix)
    assert "The log is corrected" in page
    assert boards.batch_state(batch, NOW).finished_at is None
    page = send(browser, batch, "correct", how="void", **fix)
    assert "struck out" in page
    assert "another follows" in page
    assert boards.batch_state(batch, NOW).passes == 0


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("C0000", "Scan it again"),
        ("hello", "begins with"),
        (UNKNOWN, "scan it again"),
        ("", "Nothing"),
    ],
)
def test_a_wrong_scan_is_told_in_words(
    browser: FlaskClient, shop: Workshop, batch: str, code: str, words: str
) -> None:
    """Nothing is changed."""
    assert words.lower() in scan(browser, batch, code).lower()
    listed = browser.post("/boards/scan", data={"scan": code}, follow_redirects=True)
    assert words.lower() in listed.text.lower()


def test_a_scanned_batch_and_badge(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """A batch's label leads to it; a badge says who places."""
    answer = browser.post("/boards/scan", data={"scan": batch.lower()})
    assert answer.headers["Location"].endswith(f"/boards/{batch}")
    assert "At work: Mira." in scan(browser, batch, shop.people[0])
    place(browser, batch, shop.usable)
    assert boards.log_of(batch)[0].event.person == shop.people[0]


def test_its_label_is_a_pdf(browser: FlaskClient, batch: str) -> None:
    """To print from the browser."""
    answer = browser.post(f"/boards/{batch}/label")
    assert (answer.mimetype, answer.data[:5]) == ("application/pdf", b"%PDF-")


def test_finished_boards_come_on_the_rework_list(
    browser: FlaskClient, shop: Workshop, batch: str, wall_clock: Clock
) -> None:
    """Once their floor life has passed again; the rule and its source stand beside it."""
    place(browser, batch, shop.usable)
    send(browser, batch, "reflow", last="last")
    wall_clock.now += 200 * HOUR_S
    page = browser.get("/boards").text
    assert "Bake before rework" in page
    assert "J-STD-033 section 6" in page
    assert "Before any heat above 200 °C bake" in page


def test_the_page_of_a_placement_shows_its_log(
    browser: FlaskClient, shop: Workshop, batch: str
) -> None:
    """A placement is a carrier too, reflows and joins have words."""
    place(browser, batch, shop.usable)
    send(browser, batch, "reflow", peak_c="240", last="last")
    child = boards.batch_state(batch, NOW).placements[0].placed.code
    assert "Reflowed to 240 °C for the last time" in browser.get(f"/carriers/{child}").text
    assert f"of batch {batch}" in browser.get(f"/carriers/{shop.usable}").text


def test_an_unknown_batch_is_not_found(browser: FlaskClient, shop: Workshop) -> None:
    """In words, with 404."""
    assert browser.get(f"/boards/{UNKNOWN}").status_code == 404


def test_level_1_has_no_limit(browser: FlaskClient, shop: Workshop, batch: str) -> None:
    """A batch of parts without a floor life shows no time."""
    catalog.create_part(PartFacts("WB-CAP-1", "1", body_mm=1.0), NOW)
    new = NewCarrier("WB-CAP-1", "L-1", 100, "reel", opened_at=NOW - HOUR_S, place=shop.line)
    place(browser, batch, receive(new, NOW)[0].code)
    assert "no limit" in browser.get(f"/boards/{batch}").text
    assert "level 1: no limit" in browser.get(f"/boards/{batch}").text


@pytest.mark.parametrize(
    ("reason", "words"),
    [("x" * 1001, "At most 1000 characters"), ("wet\x00box", "control character")],
)
def test_a_reason_is_one_that_a_screen_can_show(
    browser: FlaskClient, shop: Workshop, batch: str, reason: str, words: str
) -> None:
    """As the API has it; a scanner that went wild fills no screen of others."""
    place(browser, batch, shop.usable)
    page = send(browser, batch, "hold", reason=reason, person=shop.people[0])
    assert words in page
    assert "held" not in boards.batch_state(batch, NOW).reasons


def test_a_batch_is_proved_on_a_page_to_print(
    browser: FlaskClient, shop: Workshop, batch: str, wall_clock: Clock
) -> None:
    """Each share leads to its working as of that reflow; the carrier and who placed it stand by."""
    assert "Nothing placed" in browser.get(f"/boards/{batch}/proof").text
    place(browser, batch, shop.usable)
    assert "Not soldered yet" in browser.get(f"/boards/{batch}/proof").text
    send(browser, batch, "reflow", peak_c="240", last="more")
    assert "Within floor life so far" in browser.get(f"/boards/{batch}/proof").text
    wall_clock.now += 200 * HOUR_S
    send(browser, batch, "reflow", last="last")
    page = browser.get(f"/boards/{batch}/proof").text
    assert "Soldered outside the rules" in page
    assert "1 of 1 component did not meet the rules in 2 reflows" in page
    assert "Its floor life is used up." in page
    assert re.search(r"Proof made \d+ \w{3} \d{4} \d\d:\d\d, times in \S+, from", page)
    first, second = re.findall(r'href="(/carriers/\w+\?at=[^"]+)"', page)
    assert first != second
    assert "As of" in browser.get(first).text
    assert f'href="/boards/{batch}/proof"' in browser.get(f"/boards/{batch}").text
    assert browser.get(f"/boards/{UNKNOWN}/proof").status_code == 404
