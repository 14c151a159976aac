"""The code of a batch of boards at the scan station: what it is, and a place that moves it."""

from __future__ import annotations

from collections.abc import Iterator
from uuid import uuid4

import pytest

from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.services import boards, event_recording
from msdtrack.services.boards import NewBatch
from msdtrack.services.event_recording import NewEvent
from tests.services.scan_floor import Floor, opened_floor, refused


@pytest.fixture
def floor(database_url: str) -> Iterator[Floor]:
    """A workshop on a fresh database of either kind."""
    yield from opened_floor(database_url)


@pytest.fixture
def batch(floor: Floor) -> str:
    """A batch at the line with two parts on it, after its first pass."""
    made, _ = boards.create(NewBatch("Pressure board", 10, floor.places["line"]), floor.now)
    for part in ("PRES-3", "COND-5"):
        reel = floor.carrier(part)
        floor.scans(reel, "OPEN", "HICDRY")
        new = NewEvent(
            str(uuid4()), reel, "place_on_board", floor.now, quantity=20, board=made.code
        )
        event_recording.record([new], floor.now)
    happens(floor, made.code, "reflow")
    return made.code


def happens(floor: Floor, batch: str, kind: str, **what: object) -> None:
    new = NewEvent(str(uuid4()), "", kind, floor.now, **what)  # type: ignore[arg-type]
    boards.record(batch, new, floor.now)


def place_of(floor: Floor, batch: str) -> str | None:
    return boards.batch_state(batch, floor.now).place


def test_it_is_shown_with_its_time_and_next_step(floor: Floor, batch: str) -> None:
    """Name, boards, place, pass, the worst part with what it has left, and what to do."""
    answer = floor.scan(batch, station="Line desk")
    assert (answer.tone, answer.title) == ("ok", "Between reflows")
    for words in (
        "Pressure board",
        "10 boards",
        "at Line A",
        "1 of 3 passes done",
        "Worst COND-5",
        "47 h",
    ):
        assert words in answer.message
    assert answer.next_step.startswith("Reflow pass 2, or dry storage until then.")
    assert answer.next_step.endswith("Scan a place to move them.")
    assert answer.carrier is None


def test_a_place_moves_all_of_it_and_undo_takes_it_back(floor: Floor, batch: str) -> None:
    """Boards, then the cabinet: every component is there. Undo: back at the line."""
    assert floor.scans(batch, floor.places["cabinet"]).title.startswith("Moved")
    found = boards.batch_state(batch, floor.now)
    assert (found.place, found.status) == (floor.places["cabinet"], "dry_storage")
    assert {one.state.ledger.place for one in found.placements} == {floor.places["cabinet"]}
    assert floor.scan(batch).title == "In dry storage"
    floor.scans(floor.places["line"], "UNDO")
    assert place_of(floor, batch) == floor.places["cabinet"]


def test_boards_on_hold_are_moved_to_a_line_in_red(floor: Floor, batch: str) -> None:
    """As a carrier is, by the label of the batch."""
    floor.scans(batch, "HOLD", batch, floor.places["cabinet"])
    answer = floor.scans(batch, floor.places["line"])
    assert (answer.tone, answer.title) == ("stop", "Moved, do not reflow")
    assert place_of(floor, batch) == floor.places["line"]
    both = floor.scans(floor.carrier(), batch, floor.places["line"])
    assert f"Do not reflow {batch}: Hold for quality" in both.message


def test_what_is_done_with_it_is_told_by_its_label(floor: Floor, batch: str) -> None:
    """Alone or with a carrier: nobody has ever seen the code of a placement."""
    placed = [one.placed.code for one in boards.batch_state(batch, floor.now).placements]
    moved = floor.scans(batch, floor.places["cabinet"])
    assert (moved.carrier, moved.title) == (None, "Moved")
    assert "Now at" in moved.message
    assert batch in moved.message
    reel = floor.carrier("PRES-3")
    both = floor.scans(reel, batch, floor.places["line"])
    assert f"2 carriers and boards, {reel}, {batch}." in both.message
    for answer in (moved, both):
        assert not any(code in answer.message for code in placed)


def test_the_action_may_come_first(floor: Floor, batch: str) -> None:
    """Move, boards, place; and a carrier and boards go together."""
    floor.scans("MOVE", batch, floor.places["cabinet"], "DONE")
    assert place_of(floor, batch) == floor.places["cabinet"]
    reel = floor.carrier()
    answer = floor.scans(reel, batch)
    assert f"With it: {reel}" in answer.message
    assert f"With it: {batch}" in floor.scan(reel).message
    floor.scan(floor.places["store"])
    assert place_of(floor, batch) == floor.places["store"]
    assert floor.state(reel).ledger.place == floor.places["store"]


def test_a_hold_holds_all_of_it(floor: Floor, batch: str) -> None:
    """Held boards are not to be reflowed; quality releases them with a badge."""
    assert floor.scans(batch, "HOLD").title == "Held"
    shown = floor.scan(batch)
    assert (shown.tone, shown.title) == ("stop", "Do not reflow")
    assert "Hold for quality" in shown.next_step
    floor.scans(floor.ana, batch, "RELEASE")
    assert boards.batch_state(batch, floor.now).verdict == "use"


@pytest.mark.parametrize("action", ["LOAD", "CLOSEFRESH", "OPEN"])
def test_what_is_done_with_carriers_is_refused(floor: Floor, batch: str, action: str) -> None:
    """Boards feed no line."""
    answer = floor.scans(batch, action)
    assert refused(answer)
    assert answer.title == "On a board"


def test_boards_are_baked_on_their_page(floor: Floor, batch: str) -> None:
    """There the limits of all that is on them count, not those of one reel."""
    answer = floor.scans(batch, floor.places["oven"], "BAKE125")
    assert refused(answer)
    assert "page of the boards" in answer.next_step
    assert boards.batch_state(batch, floor.now).status == "on_board"


def test_what_is_short_of_time_says_so(floor: Floor, batch: str) -> None:
    """Level 5, 41 of 48 hours gone (J-STD-033 floor life): less than a shift is left."""
    floor.now += 41 * 3600
    answer = floor.scan(batch)
    assert (answer.tone, answer.title) == ("ok", "Reflow first")
    assert answer.next_step.startswith("Reflow pass 2 first, or dry storage now.")


def test_what_must_be_baked_says_so(floor: Floor, batch: str) -> None:
    """Past its floor life: no reflow before the bake."""
    floor.now += 60 * 3600
    answer = floor.scan(batch)
    assert (answer.tone, answer.title) == ("stop", "Do not reflow")
    assert "no floor life left" in answer.message
    assert answer.next_step.startswith("Before the next reflow")


@pytest.mark.parametrize(
    ("kind", "what", "title"),
    [("reflow", {"last": True}, "Soldered"), ("scrap", {"person": "Ana"}, "Scrapped")],
)
def test_finished_boards_are_shown_and_nothing_waits_for_a_place(
    floor: Floor, batch: str, kind: str, what: dict[str, object], title: str
) -> None:
    """Their components are gone: a place scanned next moves nothing."""
    happens(floor, batch, kind, **what)
    assert floor.scan(batch, station="Store desk").title == title
    answer = floor.scan(floor.places["cabinet"], station="Store desk")
    assert answer.tone == "ask"
    assert place_of(floor, batch) == floor.places["line"]
    assert refused(floor.scans("MOVE", batch))


def test_an_empty_batch_and_an_unknown_one_are_told(floor: Floor) -> None:
    """Nothing is placed yet; or it is no batch on file."""
    empty, _ = boards.create(NewBatch("Mast board", 5), floor.now)
    assert floor.scan(empty.code).title == "Nothing placed"
    unknown = floor.scan(make_code(CodeKind.JOB, 999))
    assert refused(unknown)
    assert unknown.title == "Unknown boards"
