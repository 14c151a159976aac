"""Lots as they are now: what is known without folding is what folding every carrier says."""

from __future__ import annotations

import logging

import pytest

from msdtrack.services import boards, carrier_states, lot_holds, sample_checks, sample_decisions
from msdtrack.services.boards import NewBatch
from msdtrack.services.lot_holds import LotNow
from msdtrack.services.placements import BOARD
from msdtrack.store import carriers, event_log
from msdtrack.store.connection import read
from tests.services.sample_bench import BAD, DRY, Bench, new_bench


@pytest.fixture
def bench(store: None) -> Bench:
    """A bench on each kind of database, whose lot is in every state that a carrier can have."""
    bench = new_bench()
    opened, used_up, on_board, giver, receiver = (bench.receive() for _ in range(5))
    bench.receive(sealed_on=None)
    bench.receive(lot="N5-2")
    for code in (opened, used_up, on_board, giver, receiver):
        bench.record(code, "open", hic=DRY)
    bench.record(used_up, "scrap", reason="dropped")
    batch, _ = boards.create(NewBatch("logger, top side", 20, bench.places["Line"]), bench.now)
    bench.record(on_board, "place_on_board", quantity=20, board=batch.code)
    child = bench.record(giver, "split", quantity=10).child
    assert child is not None
    bench.record(child, "join", into=receiver)
    bench.record(bench.bags[1], "hold", reason="bent leads")
    return bench


def test_a_lot_is_what_folding_all_of_it_says(bench: Bench) -> None:
    """Which carriers there are, which of them are gone or held, how many hold pieces."""
    bench.plan()
    bench.take_all()
    for step in ("taken", "rejected"):
        if step == "rejected":
            bench.measure(BAD)
        lot = bench.lot()
        every = _folded("PRES-3", "N5-1", bench.now)
        assert lot.codes == sorted(every)
        assert lot.here == [code for code in sorted(every) if every[code].status != "gone"]
        assert lot.held_by(bench.number) == [
            code
            for code, one in sorted(every.items())
            if one.status != "gone"
            and any(reason.startswith(lot_holds.mark(bench.number)) for reason in one.ledger.held)
        ]
        there = [
            one.ledger.quantity
            for one in every.values()
            if one.status not in ("gone", "on_board") and one.facts.kind != BOARD
        ]
        told = sample_checks.lot("PRES-3", "N5-1", bench.now)
        assert (told.bags, told.pieces) == (sum(one > 0 for one in there), sum(there))
        assert bool(lot.held_by(bench.number)) == (step == "rejected")


def test_what_happens_while_a_lot_is_folded_is_not_missed(bench: Bench) -> None:
    """A lot that is brought up to date is the lot asked anew: holds, splits and corrections of it
    in between, and what arrives."""
    bench.plan()
    bench.take_all()
    bench.measure(BAD)
    before = bench.lot()
    held, opened = before.held_by(bench.number)[:2], bench.bags[2]
    bench.record(held[0], "release", reason="looked at")
    bench.record(opened, "open", hic=DRY)
    child = bench.record(opened, "split", quantity=10).child
    late = bench.receive()
    (scrapped,) = (c for c, one in before.states.items() if one.ledger.gone == "dropped")
    event = event_log.log(scrapped)[-1]
    bench.record(scrapped, "correct", event=event.id, void=True, reason="found", person="Ines")
    again = lot_holds.lot_now("PRES-3", "N5-1", bench.now, before)
    assert _plain(again) == _plain(bench.lot())
    assert {child, late} <= set(again.codes)
    assert held[0] not in again.held_by(bench.number)
    assert scrapped in again.here


def test_no_query_is_made_for_each_carrier_of_a_lot(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    """To hold a lot and to release it: some tens of thousands would wait for the one writer."""
    counts = []
    for lot, more in (("N6-1", 3), ("N6-2", 30)):
        for _ in range(more):
            bench.receive(lot=lot)
        number = bench.plan(lot=lot)
        first = bench.receive(lot=lot)
        bench.scan(first, "OPEN", "HICDRY", "5", "CLOSEQUICK")
        with caplog.at_level(logging.DEBUG, "peewee"):
            caplog.clear()
            bench.measure(BAD)
            held = len(caplog.records)
            caplog.clear()
            released, _ = sample_decisions.release(number, None, "Ines", "sorted", bench.now)
            counts.append((held, len(caplog.records)))
        assert len(released) == more + 2
    assert counts[0] == counts[1]


def _plain(lot: LotNow) -> tuple[object, ...]:
    found = [
        (code, one.status, one.ledger.held, one.ledger.quantity)
        for code, one in sorted(lot.states.items())
    ]
    return dict(lot.untouched), found


def _folded(part: str, lot: str, now: int) -> dict[str, carrier_states.CarrierState]:
    """Return the states of the carriers of a lot, of all that there ever were."""
    with read():
        every = carrier_states.states(carriers.carrier_codes(), now)
    return {
        code: one
        for code, one in every.items()
        if (one.facts.part.number, one.facts.lot) == (part, lot)
    }
