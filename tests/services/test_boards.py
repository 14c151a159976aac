"""A batch of boards has the worst of what is placed on it, until its last reflow and after it."""

from __future__ import annotations

from io import BytesIO
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp

from msdtrack.errors import BadInput, Conflict, NotFound, Refused
from msdtrack.exposure.events import Kind
from msdtrack.printing.codes import CodeKind, read_code
from msdtrack.services import boards, event_recording
from msdtrack.services.boards import NewBatch
from msdtrack.services.carrier_states import state
from msdtrack.store import prints
from tests.services.board_floor import (
    DRY,
    FIX,
    HOUR,
    event,
    happens,
    now,
    opened,
    placed,
    readings,
)
from tests.services.conftest import NOW

# -- on file ----------------------------------------------------------------------------------


def test_a_batch_has_a_code_of_its_own_kind(batch: str) -> None:
    """It is scanned like everything else, and nothing is on it yet."""
    assert read_code(batch).kind is CodeKind.JOB
    empty = now(batch)
    assert (empty.status, empty.verdict, empty.next_step.kind) == ("empty", "do_not_use", "place")
    with pytest.raises(NotFound):
        boards.batch_state("J000999X", NOW)


def test_sent_twice_there_is_one_batch(shop: dict[str, str]) -> None:
    """The same request id makes one batch; with other content it is a conflict."""
    new, id_ = NewBatch("Logger", 10), str(uuid4())
    assert boards.create(new, NOW, id_)[1]
    assert not boards.create(new, NOW, id_)[1]
    assert len(boards.batches(NOW)) == 1
    with pytest.raises(Conflict):
        boards.create(NewBatch("Logger", 11), NOW, id_)


@pytest.mark.parametrize(
    ("new", "field"),
    [
        (NewBatch(" ", 1), "name"),
        (NewBatch("x" * 81, 1), "name"),
        (NewBatch("Logger", 0), "boards"),
        (NewBatch("Logger", 1, "P000999X"), "place"),
    ],
)
def test_what_is_wrong_with_a_batch_is_named(store: None, new: NewBatch, field: str) -> None:
    """And nothing is on file."""
    with pytest.raises(BadInput) as caught:
        boards.create(new, NOW)
    assert [one.field for one in caught.value.errors] == [field]
    assert boards.batches(NOW) == []


def test_its_label_can_be_scanned(batch: str) -> None:
    """The sign that goes with the boards has its code as Code 128; the print is on the log."""
    pdf = pypdfium2.PdfDocument(BytesIO(boards.labels_pdf([batch], NOW, "Ines")))
    image = pdf[0].render(scale=300 / 72).to_pil()
    pdf.close()
    assert [one.text for one in zxingcpp.read_barcodes(image.convert("L"))] == [batch]
    assert [one.stuck_on for one in prints.prints(batch)] == ["boards"]


# -- placing ----------------------------------------------------------------------------------


def test_a_batch_has_the_worst_share_and_the_least_time(shop: dict[str, str], batch: str) -> None:
    """The clocks go on on the board; the most exposed component decides."""
    placed(batch, opened(shop["Bench"], 84), 2)
    placed(batch, opened(shop["Bench"], 24), 1)
    found = now(batch)
    assert float(found.used_share) == pytest.approx(84 / 168)
    assert float(found.remaining_h or 0) == pytest.approx(84)
    assert found.status == "on_board"
    assert found.verdict == "use"
    assert [float(p.state.used_share) for p in found.placements] == pytest.approx([0.5, 24 / 168])


def test_a_placement_is_a_child_with_its_pieces(shop: dict[str, str], batch: str) -> None:
    """The carrier keeps the rest; both share the history up to the placing."""
    reel = opened(shop["Bench"], 24)
    child = placed(batch, reel, 4, quantity=100)
    assert state(reel, NOW).ledger.quantity == 400
    assert state(child, NOW).ledger.quantity == 100
    assert state(child, NOW).used_share == state(reel, NOW).used_share
    event_recording.record([event(reel, "bake_start", 1, place=shop["Oven"], temp_c=40.0)], NOW)
    assert float(state(child, NOW).used_share) == pytest.approx(24 / 168)


def test_more_than_there_is_can_not_be_placed(shop: dict[str, str], batch: str) -> None:
    """The field is named and nothing is written."""
    reel = opened(shop["Bench"], 1)
    with pytest.raises(BadInput) as caught:
        placed(batch, reel, 0, quantity=501)
    assert [one.field for one in caught.value.errors] == ["quantity"]
    assert now(batch).placements == ()
    assert state(reel, NOW).ledger.quantity == 500


def test_only_a_batch_takes_pieces(shop: dict[str, str]) -> None:
    """A code that is no batch on file is named."""
    with pytest.raises(BadInput) as caught:
        placed("J000999X", opened(shop["Bench"], 1), 0)
    assert [one.field for one in caught.value.errors] == ["board"]


def test_what_is_placed_is_where_the_boards_are(shop: dict[str, str], batch: str) -> None:
    """Even if the reel was last seen elsewhere."""
    reel = opened(shop["Cabinet"], 3)
    child = placed(batch, reel, 1)
    assert state(child, NOW).ledger.place == shop["Bench"]
    assert state(reel, NOW).ledger.place == shop["Cabinet"]


def test_striking_out_a_placing_gives_the_pieces_back(shop: dict[str, str], batch: str) -> None:
    """The wrong reel was scanned: its placement is gone and the batch is as before."""
    reel = opened(shop["Bench"], 24)
    new = event(reel, "place_on_board", 2, quantity=100, board=batch)
    event_recording.record([new], NOW)
    happens(batch, "correct", event=new.id, void=True, **FIX)
    assert now(batch).placements == ()
    assert state(reel, NOW).ledger.quantity == 500


def test_what_happened_to_boards_stays_when_the_first_placing_is_struck_out(
    shop: dict[str, str], batch: str
) -> None:
    """The pass counts for what else was on them, and for what is placed late."""
    wrong, right = opened(shop["Bench"], 24), opened(shop["Bench"], 24)
    new = event(wrong, "place_on_board", 4, quantity=100, board=batch)
    event_recording.record([new], NOW)
    placed(batch, right, 4)
    happens(batch, "reflow", 3, peak_c=245.0)
    happens(batch, "correct", event=new.id, void=True, **FIX)
    placed(batch, opened(shop["Bench"], 24), 3.5)
    assert [p.state.ledger.passes for p in now(batch).placements] == [1, 1]


# -- what happens to a batch ------------------------------------------------------------------


def test_an_event_is_on_every_placement_once(shop: dict[str, str], batch: str) -> None:
    """The first is the cause of the others; sent again, nothing changes."""
    codes = [placed(batch, opened(shop["Bench"], 10), 5) for _ in range(3)]
    new = event("", "move", 1, place=shop["Cabinet"])
    first, again = boards.record(batch, new, NOW), boards.record(batch, new, NOW)
    assert (first.result, again.result) == ("created", "duplicate")
    logs = [event_recording.log_of(code) for code in codes]
    assert [len(log) for log in logs] == [1, 1, 1]
    assert [log[0].event.cause for log in logs] == [None, new.id, new.id]
    assert first.state.place == shop["Cabinet"]
    assert [line.event.kind for line in boards.log_of(batch)].count(Kind.MOVE) == 1


def test_one_placement_can_not_leave_the_board(shop: dict[str, str], batch: str) -> None:
    """Sent for one of them, a move takes all along; a split is refused."""
    codes = [placed(batch, opened(shop["Bench"], 10), 5) for _ in range(2)]
    event_recording.record([event(codes[1], "move", 1, place=shop["Cabinet"])], NOW)
    assert {state(code, NOW).ledger.place for code in codes} == {shop["Cabinet"]}
    with pytest.raises(BadInput, match="on the boards"):
        event_recording.record([event(codes[1], "split", quantity=1)], NOW)


def test_a_late_placing_sees_what_had_happened_since(shop: dict[str, str], batch: str) -> None:
    """The order in which things are told changes nothing; corrections come along."""
    placed(batch, opened(shop["Bench"], 24), 8)
    reflow = event("", "reflow", 4, peak_c=250.0)
    boards.record(batch, reflow, NOW)
    happens(batch, "correct", event=reflow.id, fields={"peak_c": 240.0}, **FIX)
    happens(batch, "move", 3, place=shop["Cabinet"])
    late = placed(batch, opened(shop["Bench"], 24), 5)
    found = state(late, NOW)
    assert (found.ledger.passes, found.ledger.peak_c) == (1, 240.0)
    assert found.ledger.place == shop["Cabinet"]
    happens(batch, "correct", event=reflow.id, void=True, **FIX)
    assert state(late, NOW).ledger.passes == 0


def test_what_is_placed_after_a_pass_does_not_have_that_pass(
    shop: dict[str, str], batch: str
) -> None:
    """Also when the pass is told late."""
    first = placed(batch, opened(shop["Bench"], 24), 8)
    second = placed(batch, opened(shop["Bench"], 24), 2)
    assert happens(batch, "reflow", 5).passes == 1
    assert [state(code, NOW).ledger.passes for code in (first, second)] == [1, 0]


def test_a_correction_can_not_reorder_placing_and_passes(shop: dict[str, str], batch: str) -> None:
    """Moving a pass to before a placing would leave a pass on what was not there."""
    placed(batch, opened(shop["Bench"], 24), 8)
    placed(batch, opened(shop["Bench"], 24), 4)
    reflow = event("", "reflow", 2)
    boards.record(batch, reflow, NOW)
    with pytest.raises(BadInput, match="strike this entry out"):
        happens(batch, "correct", event=reflow.id, fields={"at": NOW - 6 * HOUR}, **FIX)
    happens(batch, "correct", event=reflow.id, fields={"at": NOW - 3 * HOUR}, **FIX)
    assert [p.state.ledger.passes for p in now(batch).placements] == [1, 1]


def test_nothing_happens_to_a_batch_before_something_is_on_it(
    shop: dict[str, str], batch: str
) -> None:
    """There is no log to put it on."""
    with pytest.raises(Refused, match="place the carriers first"):
        happens(batch, "move", place=shop["Cabinet"])


def test_only_boards_are_reflowed(shop: dict[str, str]) -> None:
    """A reel in a reflow oven is a slip."""
    with pytest.raises(BadInput, match="on no board"):
        event_recording.record([event(opened(shop["Bench"], 1), "reflow")], NOW)


def test_dry_storage_stops_the_clock_between_passes(shop: dict[str, str], batch: str) -> None:
    """Boards that wait go to dry storage, as their components would (level 3 pauses)."""
    placed(batch, opened(shop["Bench"], 24), 20)
    happens(batch, "reflow", 19)
    happens(batch, "move", 18, place=shop["Cabinet"])
    readings(shop["Cabinet"], 25.0, 4.0, 18)
    found = now(batch)
    assert found.status == "dry_storage"
    assert float(found.used_share) == pytest.approx(6 / 168, abs=1e-3)


def test_a_closed_dry_bag_too_and_pieces_wait_until_it_is_open(
    shop: dict[str, str], batch: str
) -> None:
    """One bag for all; nothing is placed on boards in a bag."""
    placed(batch, opened(shop["Bench"], 24), 20)
    placed(batch, opened(shop["Bench"], 24), 20)
    closed = happens(batch, "close", 18, desiccant="fresh", new_hic="fresh", seal="heat")
    assert closed.status == "in_dry_bag"
    assert len({p.state.ledger.bag for p in closed.placements}) == 1
    with pytest.raises(Refused, match="closed dry bag"):
        placed(batch, opened(shop["Bench"], 1), 0.5)
    happens(batch, "open", 0.25, hic=DRY)
    placed(batch, opened(shop["Bench"], 1), 0.1)
    assert float(now(batch, 0.25).used_share) == pytest.approx(6 / 168)


def test_nothing_on_hold_is_placed_at_the_screen(shop: dict[str, str], batch: str) -> None:
    """It passes no line until it is released; nothing is written."""
    reel = opened(shop["Bench"], 2)
    event_recording.record([event(reel, "hold", 1, reason="dropped")], NOW)
    placing = event(reel, "place_on_board", quantity=10, board=batch)
    with pytest.raises(Refused, match="on hold: dropped"):
        boards.place(batch, placing, NOW)
    assert state(reel, NOW).ledger.quantity == 500
    event_recording.record([event(reel, "release", reason="looked at")], NOW)
    boards.place(batch, placing, NOW)
    assert state(reel, NOW).ledger.quantity == 490


def test_a_hold_holds_the_batch_and_a_release_frees_it(shop: dict[str, str], batch: str) -> None:
    """Quality decides on all boards at once."""
    placed(batch, opened(shop["Bench"], 2), 1)
    held = happens(batch, "hold", 0.5, reason="tombstones")
    assert (held.verdict, held.next_step.text) == ("do_not_use", "Hold for quality: tombstones.")
    assert happens(batch, "release", 0.2, reason="reworked by hand").verdict == "use"
