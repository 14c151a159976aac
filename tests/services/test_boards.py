"""A batch of boards has the worst of what is placed on it, until its last reflow and after it."""

from __future__ import annotations

from io import BytesIO
from typing import Any
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp

from msdtrack.errors import BadInput, Conflict, NotFound, Refused
from msdtrack.exposure.events import Kind
from msdtrack.exposure.facts import PartFacts
from msdtrack.printing.codes import CodeKind, read_code
from msdtrack.services import boards, catalog, climate, event_recording
from msdtrack.services.board_states import BatchState
from msdtrack.services.boards import NewBatch
from msdtrack.services.carrier_states import state
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import prints
from tests.services.conftest import NOW, receive

HOUR = 3600
DRY = {"5": "dry", "10": "dry", "60": "dry"}
FIX: dict[str, Any] = {"person": "Ines", "reason": "slip of the pen"}


def event(carrier: str, kind: str, hours_ago: float = 0, **what: object) -> NewEvent:
    at = NOW - round(hours_ago * HOUR)
    return NewEvent(str(uuid4()), carrier, kind, at, **what)  # type: ignore[arg-type]


def opened(place: str, hours_ago: float, **given: object) -> str:
    reel = receive(place, **given).code
    event_recording.record([event(reel, "open", hours_ago, hic=DRY)], NOW)
    return reel


def placed(batch: str, carrier: str, hours_ago: float, quantity: int = 100, **what: object) -> str:
    new = event(carrier, "place_on_board", hours_ago, quantity=quantity, board=batch, **what)
    (recorded,) = event_recording.record([new], NOW)
    assert recorded.child is not None
    return recorded.child


def happens(batch: str, kind: str, hours_ago: float = 0, **what: object) -> BatchState:
    return boards.record(batch, event("", kind, hours_ago, **what), NOW).state


def now(batch: str, hours_ago: float = 0) -> BatchState:
    return boards.batch_state(batch, NOW, NOW - round(hours_ago * HOUR))


@pytest.fixture
def batch(shop: dict[str, str]) -> str:
    """A batch of 50 boards at the bench."""
    made, _ = boards.create(NewBatch("Pressure board, top side", 50, shop["Bench"]), NOW)
    return made.code


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
    _readings(shop["Cabinet"], 25.0, 4.0, 18)
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


# -- reflow -----------------------------------------------------------------------------------


def test_three_passes_are_allowed_and_a_fourth_is_flagged(shop: dict[str, str], batch: str) -> None:
    """Three reflows at most. Source: J-STD-020 classifies with three; common practice."""
    placed(batch, opened(shop["Bench"], 10), 9)
    for n in range(3):
        assert happens(batch, "reflow", 8 - n).verdict == "use"
    fourth = happens(batch, "reflow", 4)
    assert fourth.passes == 4
    assert "too_many_reflows" in fourth.reasons
    assert fourth.next_step.kind == "hold"


def test_a_body_hotter_than_its_part_is_rated_for_is_flagged(
    shop: dict[str, str], batch: str
) -> None:
    """The classification temperature of J-STD-020 is the part's; the hottest pass counts."""
    catalog.create_part(PartFacts("CO-0303", "3", body_mm=1.4, peak_body_c=245.0), NOW)
    placed(batch, opened(shop["Bench"], 10, part="CO-0303"), 9)
    placed(batch, opened(shop["Bench"], 10), 9)
    assert happens(batch, "reflow", 8, peak_c=245.0).verdict == "use"
    hot = happens(batch, "reflow", 7, peak_c=246.0)
    assert hot.reasons == ("peak_body_exceeded",)
    assert hot.peak_c == 246.0


def test_the_last_reflow_ends_it(shop: dict[str, str], batch: str) -> None:
    """Soldered: the account stands, the proof does not rise any more, no more passes."""
    child = placed(batch, opened(shop["Bench"], 30), 20)
    ended = happens(batch, "reflow", 10, last=True)
    assert ended.status == "finished"
    assert ended.finished_at == NOW - 10 * HOUR
    assert state(child, NOW).ledger.gone == "soldered"
    assert float(state(child, NOW).used_share) == pytest.approx(20 / 168)
    with pytest.raises(Refused, match="last reflow"):
        happens(batch, "reflow", 1)
    with pytest.raises(Refused, match="nothing more is placed"):
        placed(batch, opened(shop["Bench"], 1), 0)
    assert happens(batch, "move", 1, place=shop["Cabinet"]).reasons == ()


def test_a_wrong_last_reflow_is_struck_out(shop: dict[str, str], batch: str) -> None:
    """Then the clock has gone on all the time."""
    placed(batch, opened(shop["Bench"], 30), 20)
    reflow = event("", "reflow", 10, last=True)
    boards.record(batch, reflow, NOW)
    fixed = happens(batch, "correct", event=reflow.id, fields={"last": False}, **FIX)
    assert (fixed.status, fixed.passes, fixed.finished_at) == ("on_board", 1, None)
    assert float(fixed.used_share) == pytest.approx(30 / 168)


# -- bakes ------------------------------------------------------------------------------------


def _readings(place: str, temp_c: float, rh_pct: float, since_h: float) -> None:
    rows = [
        NewReading(place, at, temp_c, rh_pct)
        for at in range(NOW - round(since_h * HOUR), NOW + 1, 300)
    ]
    assert not climate.add_readings(rows, NOW).refused


def test_a_batch_past_its_floor_life_needs_what_its_components_need(
    shop: dict[str, str], batch: str
) -> None:
    """The thickest of them takes longest, and its hours count for all.

    The hours themselves are held against the published Table 4-1 in the tests of `standard`.
    """
    catalog.create_part(PartFacts("CO-0303", "3", body_mm=2.0), NOW)
    thick = placed(batch, opened(shop["Bench"], 180, part="CO-0303"), 2)
    thin = placed(batch, opened(shop["Bench"], 180), 2)
    found = now(batch)
    assert found.next_step.kind == "bake"
    assert found.bake.needed
    hours = {option.temp_c: option.hours for option in found.bake.options}
    each = {
        p.placed.code: {option.temp_c: option.hours for option in p.bake.options}
        for p in found.placements
    }
    assert each[thick][125] > each[thin][125]
    assert hours[125] == each[thick][125]


def test_the_lowest_limit_of_its_components_decides(shop: dict[str, str], batch: str) -> None:
    """A part that stands 90 °C keeps the whole board below 125 °C, also one that needs no bake."""
    catalog.create_part(PartFacts("CO-0303", "2", body_mm=1.4, max_bake_c=90.0), NOW)
    placed(batch, opened(shop["Bench"], 180), 2)
    placed(batch, opened(shop["Bench"], 3, part="CO-0303"), 2)
    bake = now(batch).bake
    assert bake.max_c == 90.0
    assert [option.temp_c for option in bake.options] == [90, 40]
    assert any(temp_c == 125 and "CO-0303" in why for temp_c, why in bake.refused)
    assert any("connectors" in caution for caution in bake.cautions)
    with pytest.raises(BadInput, match="90 °C at most") as caught:
        happens(batch, "bake_start", 1, place=shop["Oven"], temp_c=125.0)
    assert [one.field for one in caught.value.errors] == ["temp_c"]


def test_level_1_neither_needs_nor_hinders_a_bake(shop: dict[str, str], batch: str) -> None:
    """A part without a floor life has no figure of its own to wait for."""
    catalog.create_part(PartFacts("CR-0001", "1", body_mm=1.0), NOW)
    placed(batch, opened(shop["Bench"], 180), 2)
    placed(batch, opened(shop["Bench"], 180, part="CR-0001"), 2)
    assert now(batch).bake.options[0].temp_c == 125


def test_a_bake_of_the_boards_resets_all_of_them(shop: dict[str, str], batch: str) -> None:
    """Without an oven's readings the stated temperature counts, and it says assumed."""
    placed(batch, opened(shop["Bench"], 300), 100)
    needed = now(batch, 90).bake.options[0]
    baking = happens(batch, "bake_start", 90, place=shop["Oven"], temp_c=needed.temp_c)
    assert now(batch, 89).status == "baking"
    assert baking.place == shop["Oven"]
    out = happens(batch, "bake_end", 90 - float(needed.hours) - 1, place=shop["Bench"])
    assert out.place == shop["Bench"]
    assert out.verdict == "use"
    assert float(out.used_share) < 0.6
    assert out.next_step.kind in ("use", "use_first")


# -- rework -----------------------------------------------------------------------------------


def test_a_finished_board_needs_a_bake_once_its_floor_life_has_passed_again(
    shop: dict[str, str], batch: str
) -> None:
    """Before heat above 200 °C body temperature. Source of the figure: `removal_body` of the data.

    Counted from the last reflow: common practice, no source.
    """
    placed(batch, opened(shop["Bench"], 300), 299)
    happens(batch, "reflow", 200, last=True)
    day_after = now(batch, 176)
    assert not day_after.needs_rework_bake
    assert day_after.next_step.kind == "done"
    assert float(day_after.used_share) == pytest.approx(24 / 168)
    late = now(batch)
    assert late.needs_rework_bake
    assert late.next_step.kind == "rework"
    assert "200 °C" in late.next_step.text
    assert late.placements[0].rework.why == "its floor life is exceeded"


def test_dry_storage_keeps_finished_boards_ready_for_rework(
    shop: dict[str, str], batch: str
) -> None:
    """The same tables count after the last reflow as before it."""
    placed(batch, opened(shop["Bench"], 300), 299)
    happens(batch, "reflow", 200, last=True)
    happens(batch, "move", 199, place=shop["Cabinet"])
    _readings(shop["Cabinet"], 25.0, 4.0, 199)
    assert not now(batch).needs_rework_bake


def test_what_was_exceeded_before_the_last_reflow_is_baked_first(
    shop: dict[str, str], batch: str
) -> None:
    """Soldering wet parts did not dry them for sure."""
    placed(batch, opened(shop["Bench"], 200), 199)
    ended = happens(batch, "reflow", 1, last=True)
    assert ended.needs_rework_bake
    assert ended.placements[0].rework.why == "exceeded or unknown, and not baked since"


def test_a_history_that_is_not_known_is_baked_first(shop: dict[str, str], batch: str) -> None:
    """No seal date at receipt: unknown counts as exceeded, level 1 excepted."""
    placed(batch, opened(shop["Bench"], 2, sealed_on=None), 1)
    assert now(batch).needs_rework_bake
    assert happens(batch, "reflow", 0.5, last=True).needs_rework_bake


def test_finished_boards_are_baked_for_rework(shop: dict[str, str], batch: str) -> None:
    """The bake ends the need for one; what was soldered stays soldered and in order."""
    child = placed(batch, opened(shop["Bench"], 400), 399)
    happens(batch, "reflow", 390, last=True)
    assert now(batch, 100).needs_rework_bake
    hours = float(now(batch, 100).bake.options[0].hours)
    start = event("", "bake_start", 100, place=shop["Oven"], temp_c=125.0)
    assert boards.record(batch, start, NOW).result == "created"
    assert boards.record(batch, start, NOW).result == "duplicate"
    assert now(batch, 99).status == "baking"
    assert now(batch, 99).needs_rework_bake
    happens(batch, "bake_end", 100 - hours, place=shop["Bench"])
    after = now(batch, 50)
    assert not after.needs_rework_bake
    assert "since its bake" in after.placements[0].rework.why
    soldered = state(child, NOW)
    assert (soldered.ledger.gone, soldered.conflicts) == ("soldered", ())


def test_a_rework_bake_that_was_too_short_does_not_count(shop: dict[str, str], batch: str) -> None:
    """Ended early, the need stands."""
    placed(batch, opened(shop["Bench"], 400), 399)
    happens(batch, "reflow", 390, last=True)
    happens(batch, "bake_start", 100, place=shop["Oven"], temp_c=125.0)
    happens(batch, "bake_end", 98, place=shop["Bench"])
    assert now(batch).needs_rework_bake


@pytest.mark.parametrize(("place", "field"), [("Bench", "place"), (None, "place")])
def test_a_rework_bake_is_in_an_oven(
    shop: dict[str, str], batch: str, place: str | None, field: str
) -> None:
    """As every bake."""
    placed(batch, opened(shop["Bench"], 10), 9)
    happens(batch, "reflow", 5, last=True)
    with pytest.raises(BadInput) as caught:
        happens(batch, "bake_start", 1, place=shop.get(place or ""), temp_c=125.0)
    assert [one.field for one in caught.value.errors] == [field]
