"""What a station refuses, in plain words, and what it takes back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC
from uuid import uuid4

import pytest

from msdtrack.printing.codes import make_action_code, make_code
from msdtrack.services import event_recording, scanning
from msdtrack.services.scanning import NewScan
from tests.services.scan_floor import Floor, opened_floor, refused


@pytest.fixture
def floor(database_url: str) -> Iterator[Floor]:
    """A workshop on a fresh database of either kind."""
    yield from opened_floor(database_url)


# -- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("C000001X", "One character is wrong"),
        ("C000001", "One character is wrong or missing"),
        ("4006381333931", "No code of this system begins"),
        ("]C0HELLO", "No code of this system begins"),
        ("Cé00001", "keyboard layout"),
        ("", "Nothing was read"),
        (make_code("C", 999_999), "no carrier on file"),
        (make_code("P", 999_999), "no place on file"),
        (make_code("W", 999_999), "nobody's badge"),
        (make_code("J", 999_999), "no batch of boards on file"),
        (make_code("B", 1), "bag code does nothing"),
        ("77", "No number is expected"),
        ("TOGETHER", "closing that has just begun"),
    ],
)
def test_what_can_not_be_read_changes_nothing(floor: Floor, code: str, words: str) -> None:
    """Plain words, and the carrier scanned before is still chosen."""
    carrier = floor.carrier()
    floor.scan(carrier)
    answer = floor.scan(code)
    assert refused(answer)
    assert words in answer.message
    assert floor.scan("OPEN").carrier == carrier


@pytest.mark.parametrize(
    ("before", "action", "title"),
    [
        ([], "CLOSEFRESH", "Bag is closed"),
        ([], "TAKE", "Bag is closed"),
        ([], "BAKEEND", "Bag is closed"),
        ([], "HICDRY", "Not open"),
        (["OPEN"], "OPEN", "Open already"),
        (["OPEN"], "BAKEEND", "No bake"),
        (["HOLD"], "HOLD", "On hold already"),
    ],
)
def test_what_is_impossible_now_changes_nothing(
    floor: Floor, before: list[str], action: str, title: str
) -> None:
    """The log stays as it is."""
    code = floor.carrier()
    if before:
        floor.scans(code, *before)
    kinds = floor.kinds(code)
    answer = floor.scans(code, action)
    assert refused(answer)
    assert answer.title == title
    assert floor.kinds(code) == kinds


def test_a_late_scan_that_contradicts_the_log_is_refused(floor: Floor) -> None:
    """Kept by a station while the server was away; meanwhile another one closed the bag."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HICDRY")
    scanned_at = floor.now + 60
    floor.now += 120
    floor.scans(code, "CLOSEFRESH")
    late = make_action_code("CLOSEQUICK")
    new = NewScan(str(uuid4()), "Other", f"{code} {late}", scanned_at)
    answer = scanning.scan(new, floor.now + 60, UTC)
    assert refused(answer)
    assert floor.kinds(code) == ["open", "close"]
    assert floor.state(code).conflicts == ()


# -- undo ---------------------------------------------------------------------------------------


def test_undo_takes_the_last_scan_back_by_a_correction(floor: Floor) -> None:
    """The carrier is as before; the log keeps the opening and the correction."""
    code = floor.carrier()
    floor.scans(code, "OPEN")
    answer = floor.scan("UNDO")
    assert (answer.tone, answer.title) == ("ok", "Taken back")
    assert floor.state(code).status == "in_dry_bag"
    assert floor.kinds(code) == []
    log = [line.event for line in event_recording.log_of(code)]
    assert [event.kind for event in log] == ["open", "correct"]
    assert log[1].void
    assert log[1].reason == "undone at the station"
    assert refused(floor.scan("UNDO"))


def test_undo_of_a_card_leaves_the_opening(floor: Floor) -> None:
    """The last scan was the card; the one before, the opening, needs a yes."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HIC60", "UNDO")
    assert floor.state(code).reasons == ("hic_missing",)
    asked = floor.scan("UNDO")
    assert (asked.tone, asked.title) == ("ask", "Take this back?")
    assert floor.state(code).opened_at is not None
    assert floor.scan("UNDO").title == "Taken back"
    assert floor.state(code).status == "in_dry_bag"


def test_undo_of_the_time_keeps_the_card(floor: Floor) -> None:
    """Of two corrections of an opening only the last one goes."""
    code = floor.carrier()
    floor.scans(code, "OPEN")
    at = floor.now
    floor.scans("HIC5", "AGO60", "UNDO")
    state = floor.state(code)
    assert state.opened_at == at
    assert state.ledger.hic == {"5": "humid", "10": "dry", "60": "dry"}


def test_undo_of_a_shared_bag_closes_all_of_it(floor: Floor) -> None:
    """What an opening brought with it goes back with it."""
    codes = [floor.carrier(bag="B-9") for _ in range(2)]
    floor.scans(codes[0], "OPEN")
    assert {floor.state(code).status for code in codes} == {"exposed"}
    floor.scan("UNDO")
    assert {floor.state(code).status for code in codes} == {"in_dry_bag"}


def test_undo_of_an_old_scan_asks_first(floor: Floor) -> None:
    """Somebody else may have scanned it an hour ago."""
    code = floor.carrier()
    floor.scans(code, "OPEN")
    assert floor.scan("UNDO", after_s=3600).title == "Take this back?"
    for other in (code, "C000001X"):
        floor.scan(other)
        assert floor.scan("UNDO").title == "Take this back?"
    assert floor.state(code).opened_at is not None


def test_undo_says_when_the_log_contradicts_itself_now(floor: Floor) -> None:
    """The opening is taken back at one station after another one has closed the bag."""
    code = floor.carrier()
    floor.scans(code, "OPEN")
    for each in (code, "CLOSEFRESH"):
        floor.scan(each, station="Other")
    answer = floor.scan("UNDO")
    assert answer.tone == "ask"
    assert "contradicts" in answer.message
    assert floor.state(code).conflicts


def test_undo_within_a_series_lets_it_go_on(floor: Floor) -> None:
    """One wrong carrier in a row of closings."""
    codes = [floor.carrier() for _ in range(2)]
    for code in codes:
        floor.scans(code, "OPEN", "HICDRY")
    floor.scans("DONE", "CLOSEQUICK", *codes, "UNDO")
    assert floor.state(codes[1]).opened_at is not None
    answer = floor.scan(codes[1])
    assert answer.series == tuple(codes)
