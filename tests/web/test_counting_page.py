"""The pages of a count: scan, decide by numbers, record in a name; mistakes are told."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from msdtrack.printing.codes import make_code
from msdtrack.services import counting, event_recording
from msdtrack.services.carrier_states import state
from tests.web.conftest import NOW, Clock
from tests.web.workshop import HOUR_S, Workshop, record


class Desk:
    """A person with a scanner at the page of one place."""

    def __init__(self, browser: FlaskClient, place: str) -> None:
        self.browser, self.place = browser, place
        self.text = browser.get(f"/count/{place}").text

    def scan(self, code: str) -> str:
        """Type a code or a number and press Enter; return the page that comes."""
        hidden = dict(re.findall(r'type="hidden" name="(\w+)" value="(.*?)"', self.text))
        answer = self.browser.post(f"/count/{self.place}/scan", data={**hidden, "code": code})
        assert answer.status_code == 303
        self.url = answer.headers["Location"]
        self.text = self.browser.get(self.url).text
        return self.text

    def choose(self, words: str) -> str:
        """Key in the number of a choice."""
        for number, text in re.findall(r"<kbd>(\d+)</kbd> (.*?)</button>", self.text):
            if words in text:
                return self.scan(number)
        raise AssertionError(f"no choice {words}")


@pytest.fixture
def bench(browser: FlaskClient, shop: Workshop) -> Desk:
    """At the bench, where nothing is on record."""
    return Desk(browser, shop.bench)


@pytest.fixture
def line(browser: FlaskClient, shop: Workshop) -> Desk:
    """At the line, where four carriers are on record."""
    return Desk(browser, shop.line)


def test_the_places_are_listed_and_one_is_scanned(browser: FlaskClient, shop: Workshop) -> None:
    """The place's sign leads to its page; a carrier's label is told to be none."""
    assert "not yet" in browser.get("/count").text
    assert browser.post("/count", data={"code": shop.line}).headers["Location"].endswith(shop.line)
    told = browser.post("/count", data={"code": shop.usable}, follow_redirects=True).text
    assert "scan a place" in told
    assert browser.get(f"/count/{make_code('P', 99)}").status_code == 404


def test_looking_begins_nothing(browser: FlaskClient, shop: Workshop, line: Desk) -> None:
    """The page shows what is expected; no count runs before something is scanned."""
    assert "0 of 4" in line.text
    assert "not begun yet" in line.text
    assert counting.overview() == ([], [])


def test_a_whole_count_by_scanner_and_number_keys(
    browser: FlaskClient, shop: Workshop, line: Desk, wall_clock: Clock
) -> None:
    """Two found, one from the cabinet, one missing and held, one used up; recorded in a name."""
    assert "1 of 4" in line.scan(shop.usable)
    assert "Counted already" in line.scan(shop.usable)
    line.scan(shop.short)
    assert "Since when is it here?" in line.scan(shop.drying)
    assert "exposed since it was last known dry, 08:00" not in line.text
    assert "exposed since it was last known dry, 09:00" in line.text
    line.choose("Nobody knows")
    assert "nobody knows since when" in line.text
    assert "record the count" not in line.text
    line.choose("decide about")
    first = re.search(r"Where is it\?.*?<p>(C\w+):", line.text, re.S)
    assert first is not None
    line.choose("Not found")
    line.choose("decide about")
    line.choose("used up or scrapped")
    line.choose("Used up")
    assert "3 entries for the log" in line.text
    assert event_recording.log_of(shop.drying)[-1].event.kind == "move"
    assert len(event_recording.log_of(shop.drying)) == 2
    line.choose("record the count")
    assert "Who has counted?" in line.text
    page = line.scan(shop.people[1])
    assert "/count/done/" in line.url
    assert "is counted" in page
    assert "by Jonas" in page
    held = state(first[1], NOW)
    assert held.next_step.text == "Hold for quality: not found when counted: Line 1."
    moved = state(shop.drying, NOW)
    assert (moved.status, moved.ledger.place) == ("exposed", shop.line)
    assert moved.ledger.exposure_s == 5 * HOUR_S
    assert "being counted" not in browser.get("/count").text
    assert "Jonas" in browser.get("/count").text


def test_the_time_it_came_can_be_typed(shop: Workshop, bench: Desk) -> None:
    """A time of day, minutes, a day and a time; what can't be is refused and asked again."""
    bench.scan(shop.drying)
    assert "still dry" in bench.scan("08:30")
    assert "Since when" not in bench.scan("11:30")
    assert "dated 11:30" in bench.text
    bench.scan(f"about {shop.drying}")
    assert "dated 12:15" in bench.scan("45")
    bench.scan(f"about {shop.drying}")
    assert "dated 12:30" in bench.scan("2026-05-14 12:30")


def test_another_label_meanwhile_is_counted_and_the_question_stays_open(
    shop: Workshop, bench: Desk
) -> None:
    """Who scans on loses nothing: the one asked about is named, and still to be decided."""
    bench.scan(shop.drying)
    assert f"Nothing was decided about {shop.drying} yet" in bench.scan(shop.usable)
    assert f"All is scanned: decide about {shop.drying}" in bench.text


def test_the_place_where_it_is_is_scanned(shop: Workshop, line: Desk) -> None:
    """A missing carrier is at the bench: it moves there. The place that is counted is refused."""
    line.scan(f"about {shop.usable}")
    assert f"Scan {shop.usable} itself" in line.scan(shop.line)
    assert "moves to Bench" in line.scan(shop.bench)
    assert "3 to decide about" in line.text


def test_a_reason_can_be_typed(shop: Workshop, line: Desk) -> None:
    """Gone, in words of one's own."""
    line.scan(f"about {shop.usable}")
    line.choose("used up or scrapped")
    assert "gone: went back to the supplier" in line.scan("went back to the supplier")


def test_found_open_though_closed_on_record(shop: Workshop, bench: Desk) -> None:
    """It is counted as closed until somebody says that it is open."""
    assert "See that its bag is closed" in bench.scan(shop.closed)
    bench.scan(f"open {shop.closed}")
    assert "Open since when?" in bench.text
    bench.scan("30")
    bench.choose("record the count")
    bench.scan(shop.people[0])
    found = state(shop.closed, NOW)
    assert (found.status, found.ledger.exposure_s) == ("exposed", 30 * 60)
    assert found.ledger.place == shop.bench


def test_wrong_and_strange_codes(shop: Workshop, bench: Desk) -> None:
    """A misread code, a number with no choice, a label not on file; the last can be left out."""
    assert "Code not valid" in bench.scan(shop.usable[:-1] + "?")
    assert "no choice 9" in bench.scan("9")
    stray = make_code("C", 4711)
    assert "Not on file" in bench.scan(stray)
    assert stray in bench.text
    assert stray not in re.sub(
        r"(?s)<section class=\"verdict.*?</section>", "", bench.scan(f"leave {stray}")
    )


def test_all_missing_can_be_held_at_once(shop: Workshop, line: Desk) -> None:
    """One number for all; each is held."""
    line.choose("Hold all 4")
    assert "4 entries for the log" in line.text
    line.scan(shop.people[0])
    line.choose("record the count")
    assert state(shop.usable, NOW).ledger.held


def test_a_count_is_dropped_after_asking(shop: Workshop, line: Desk) -> None:
    """Nothing is recorded, and it begins anew."""
    line.scan(shop.usable)
    line.choose("Drop this count")
    assert "Drop this count?" in line.text
    line.choose("Drop it")
    assert "not begun yet" in line.text


def test_gone_on_record_leads_to_the_entry(
    browser: FlaskClient, shop: Workshop, bench: Desk
) -> None:
    """What was scrapped and is there after all: its entry is corrected, not the count."""
    scrap = record(shop.usable, "scrap", NOW - 60, NOW, person=shop.people[0], reason="empty")
    assert "Gone on record" in bench.scan(shop.usable)
    assert f"/correct/{scrap}" in bench.text
    assert browser.get(f"/correct/{scrap}").status_code == 200
