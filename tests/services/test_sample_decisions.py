"""What the values of a sample check decide: lots accepted, held and released."""

from __future__ import annotations

from decimal import Decimal
from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Refused
from msdtrack.printing.codes import make_action_code
from msdtrack.services import (
    boards,
    sample_decisions,
    scanning,
)
from msdtrack.services.boards import NewBatch
from msdtrack.services.scanning import NewScan
from msdtrack.services.value_tables import PieceValues
from msdtrack.store import event_log
from tests.services.sample_bench import BAD, DRY, GOOD, Bench, new_bench


@pytest.fixture
def bench(store: None) -> Bench:
    """A bench on each kind of database."""
    return new_bench()


def test_a_lot_is_accepted_when_all_pieces_are_good(bench: Bench) -> None:
    """In two goes; nothing is held."""
    bench.plan()
    bench.take_all()
    saved = bench.measure(GOOD, GOOD)
    assert (saved.decision, bench.check().progress.stage) == ("", "measured")
    saved = bench.measure(GOOD, GOOD, GOOD, first=3)
    assert (saved.decision, bench.check().progress.stage) == ("accepted", "accepted")
    assert bench.held(*bench.bags) == []


def test_a_failing_lot_is_held_at_once_wherever_it_is(bench: Bench) -> None:
    """Bags, the pieces themselves, a reel at the line, a tray in the oven, boards between reflows;
    not another lot, not what is gone. The reason names the check."""
    bench.plan()
    children = bench.take_all()
    at_line, in_oven, used_up, on_board, split_off = (bench.receive() for _ in range(5))
    other = bench.receive(lot="N5-2")
    for code in (at_line, in_oven, used_up, on_board, split_off):
        bench.record(code, "open", hic=DRY)
    bench.record(at_line, "load", place=bench.places["Line"])
    bench.record(in_oven, "bake_start", place=bench.places["Oven"], temp_c=125.0)
    bench.record(used_up, "scrap", reason="dropped")
    batch, _ = boards.create(NewBatch("logger, top side", 20, bench.places["Line"]), bench.now)
    new = {"quantity": 20, "board": batch.code}
    placed = bench.record(on_board, "place_on_board", **new).child
    placed_too = bench.record(split_off, "place_on_board", **new).child
    child = bench.record(split_off, "split", quantity=10).child
    assert placed is not None
    assert placed_too is not None
    assert child is not None
    saved = bench.measure(GOOD, BAD)
    assert saved.decision == "rejected"
    wanted = {
        *bench.bags, *children, at_line, in_oven, on_board, split_off, placed, placed_too, child,
    }  # fmt: skip
    assert set(saved.carriers) == wanted
    for code in wanted:
        (reason,) = bench.state(code).ledger.held
        assert reason.startswith(f"sample check {bench.number}: 1 of 5 pieces out of limits")
    assert bench.held(other, used_up) == []
    assert set(bench.lot().held_by(bench.number)) == wanted
    assert bench.check().progress.stage == "rejected"


def test_nothing_on_hold_passes_the_line(bench: Bench) -> None:
    """The scan station refuses to load a carrier of the rejected lot, and says which check."""
    bench.plan()
    bench.take_all()
    bench.record(bench.bags[2], "open", hic=DRY)
    bench.measure(BAD)
    text = f"{bench.bags[2]} {make_action_code('LOAD')}"
    answer = scanning.scan(NewScan(str(uuid4()), "Line", text), bench.now)
    assert (answer.tone, answer.title) == ("refuse", "On hold")
    assert f"sample check {bench.number}" in answer.message
    assert [e.kind for e in event_log.log(bench.bags[2])] == ["open", "hold"]


def test_what_arrives_of_a_rejected_lot_is_held_too(bench: Bench) -> None:
    """Until the lot is released; another lot is not."""
    bench.plan()
    bench.take_all()
    bench.measure(BAD)
    late = bench.receive()
    assert bench.held(late, bench.receive(lot="N5-2")) == [late]
    released, left = sample_decisions.release(bench.number, None, "Ines", "sorted", bench.now)
    assert late in released
    assert left == {}
    assert bench.held(bench.receive()) == []


def test_a_release_needs_a_name_and_a_reason(bench: Bench) -> None:
    bench.plan()
    bench.take_all()
    with pytest.raises(Refused, match="not rejected"):
        sample_decisions.release(bench.number, None, "Ines", "sorted", bench.now)
    bench.measure(BAD)
    with pytest.raises(BadInput) as caught:
        sample_decisions.release(bench.number, None, " ", "", bench.now)
    assert {one.field for one in caught.value.errors} == {"person", "reason"}
    assert bench.held(*bench.bags) == bench.bags


def test_one_carrier_or_the_whole_lot_is_released(bench: Bench) -> None:
    """The check is released with the last one; name and reason are on each log."""
    bench.plan()
    children = bench.take_all()
    bench.measure(BAD)
    one = bench.bags[2]
    assert sample_decisions.release(bench.number, [one], "Ines", "all measured", bench.now) == (
        [one], {},
    )  # fmt: skip
    assert bench.held(*bench.bags) == bench.bags[:2]
    assert bench.check().progress.stage == "rejected"
    with pytest.raises(BadInput, match="not held"):
        sample_decisions.release(bench.number, [one], "Ines", "again", bench.now)
    released, _ = sample_decisions.release(bench.number, None, "Ines", "concession 12", bench.now)
    assert set(released) == {*bench.bags[:2], *children}
    assert bench.held(*bench.bags, *children) == []
    assert bench.check().progress.stage == "released"
    event = event_log.log(bench.bags[0])[-1]
    assert (event.person, event.reason) == (
        bench.person, f"sample check {bench.number}: concession 12",
    )  # fmt: skip


def test_a_release_leaves_what_is_held_for_another_reason(bench: Bench) -> None:
    """A release ends every hold and settles a missing card: so those are decided on their own."""
    bench.plan()
    bench.take_all()
    bench.record(bench.bags[0], "hold", reason="tray is bent")
    bench.record(bench.bags[2], "open", hic=dict.fromkeys(("5", "10", "60"), "missing"))
    bench.measure(BAD)
    released, left = sample_decisions.release(bench.number, None, "Ines", "sorted", bench.now)
    assert set(left) == {bench.bags[0], bench.bags[2]}
    assert left[bench.bags[0]] == "tray is bent"
    assert bench.bags[1] in released
    assert len(bench.state(bench.bags[0]).ledger.held) == 2
    assert "hic_missing" in bench.state(bench.bags[2]).reasons
    assert bench.check().progress.stage == "rejected"


def test_more_values_than_pieces_are_refused(bench: Bench) -> None:
    """Beyond the sample, and beyond what was taken: nothing is half-written."""
    bench.plan()
    bench.scan(bench.bags[0], "OPEN", "HICDRY", "3")
    with pytest.raises(BadInput, match="only 3 taken"):
        bench.measure(GOOD, GOOD, GOOD, GOOD)
    with pytest.raises(BadInput, match="until it fits"):
        bench.measure(*[GOOD] * 6)
    assert bench.check().progress.values == ()


def test_values_are_replaced_only_with_a_reason_and_both_stay(bench: Bench) -> None:
    """An accepted lot whose corrected value fails is held; a rejected one waits for a release."""
    bench.plan()
    bench.take_all()
    bench.measure(*[GOOD] * 5)
    with pytest.raises(BadInput, match="measured already"):
        bench.measure(BAD)
    saved = bench.measure(BAD, reason="pieces 1 and 2 were swapped")
    assert saved.decision == "rejected"
    assert len(bench.check().progress.values) == 12
    assert bench.held(*bench.bags) == bench.bags
    saved = bench.measure(GOOD, reason="no, they were not")
    assert saved.verdict.decision == "accept"
    assert saved.decision == ""
    assert bench.check().progress.stage == "rejected"
    assert bench.held(*bench.bags) == bench.bags


def test_values_sent_twice_are_one_set(bench: Bench) -> None:
    bench.plan()
    bench.take_all()
    values = [PieceValues("1", (Decimal("1.8"), Decimal(20)))]
    id_ = str(uuid4())
    first = sample_decisions.save_values(
        bench.number, values, bench.person, bench.now, request_id=id_
    )
    assert first.decision == "rejected"
    again = sample_decisions.save_values(
        bench.number, values, bench.person, bench.now + 9, request_id=id_
    )
    assert (again.decision, again.verdict) == ("", first.verdict)
    assert len(bench.check().progress.values) == 2
    for bag in bench.bags:
        assert [e.kind for e in event_log.log(bag)].count("hold") == 1
