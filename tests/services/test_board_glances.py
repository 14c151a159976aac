"""On the lists a batch of boards is one line, which says what its own page says."""

from __future__ import annotations

import logging
from fractions import Fraction
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import board_glances, boards, carrier_states, catalog, watch_list
from msdtrack.services.board_glances import BatchGlance
from msdtrack.services.board_states import BatchState, states_of_batches
from msdtrack.services.boards import NewBatch
from msdtrack.services.event_recording import NewEvent, record
from msdtrack.services.glance import Glance
from msdtrack.store import standings as table
from msdtrack.store.connection import close_store, open_store, write
from tests.services.board_floor import DRY, HOUR, happens, now, opened, placed, readings
from tests.services.conftest import NOW
from tests.services.floor import Floor
from tests.services.test_standings import RANDOM, ROUNDING, copy_of, unmoved


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An SQLite file with empty tables, to be copied."""
    path = tmp_path_factory.mktemp("boards") / "empty.db"
    open_store(f"sqlite:///{path}")
    close_store()
    return path


def listed(place: str | None = None, at: int = NOW) -> list[Glance]:
    """The watch list with its batches."""
    watched = watch_list.glances(at, place)
    return list(board_glances.unfinished(at, place).among(watched))


def codes(place: str | None = None) -> list[str]:
    return [one.code for one in listed(place)]


def test_a_batch_is_one_line_and_its_placements_are_none(shop: dict[str, str], batch: str) -> None:
    """Two parts on 50 boards: the one with the least time left is named, and all are there."""
    catalog.create_part(PartFacts("BL-0506", "5", body_mm=1.4), NOW)
    long, short = opened(shop["Bench"], 10), opened(shop["Bench"], 8, part="BL-0506")
    for reel in (long, short):
        placed(batch, reel, 2)
    happens(batch, "reflow", 1, peak_c=240.0)
    (found,) = [one for one in listed() if one.code == batch]
    assert isinstance(found, BatchGlance)
    assert (found.part, found.msl, found.quantity) == ("BL-0506", "5", 50)
    assert (found.status, found.verdict, found.place) == ("on_board", "use", shop["Bench"])
    # Level 5: 48 h (J-STD-033 floor life), 8 of them gone.
    assert float(found.left_h or 0) == pytest.approx(40)
    assert found.expires_at == pytest.approx(now(batch).expires_at, abs=1)
    assert found.next_step == now(batch).next_step
    assert [one.part for one in found.on_it] == ["BL-0506", "BL-0101"]
    # The reel has the same time left: then by code.
    assert codes() == [short, batch, long]


def test_no_query_is_made_for_each_batch(
    shop: dict[str, str], caplog: pytest.LogCaptureFixture
) -> None:
    """Hundreds at work would take a second on every list they are on."""
    reel, counts = opened(shop["Bench"], 3), []
    for more in (2, 10):
        for n in range(more):
            made, _ = boards.create(NewBatch(f"Mast board {n}", 5, shop["Bench"]), NOW)
            placed(made.code, reel, 2, quantity=2)
        count = len(board_glances.unfinished(NOW).glances)
        with caplog.at_level(logging.DEBUG, "peewee"):
            caplog.clear()
            found = board_glances.unfinished(NOW)
            newest, by_code = boards.listed(NOW).states, boards.batches(NOW)
        assert len(found.glances) == len(newest) == len(by_code) == count
        counts.append((count, len(caplog.records)))
    assert counts == [(2, counts[0][1]), (12, counts[0][1])]
    for state in newest:
        assert state == boards.batch_state(state.batch.code, NOW)


def test_what_is_not_between_reflows_is_not_listed(shop: dict[str, str], batch: str) -> None:
    """Nothing on it yet, the last reflow over, or scrapped."""
    reel = opened(shop["Bench"], 10)
    assert codes() == [reel]
    placed(batch, reel, 5)
    assert sorted(codes()) == sorted([batch, reel])
    happens(batch, "reflow", 1, last=True)
    assert codes() == [reel]
    second = boards.create(NewBatch("Mast board", 5, shop["Bench"]), NOW)[0].code
    placed(second, reel, 2)
    assert second in codes()
    happens(second, "scrap", 1, person="Ines")
    assert codes() == [reel]
    assert board_glances.unfinished(NOW).glances == ()


def test_it_is_listed_where_it_is(shop: dict[str, str], batch: str) -> None:
    """The boards move to another bench; the reel they were made from stays."""
    other = catalog.create_place(catalog.NewPlace(name="Side bench", kind="floor"), NOW)[0].code
    reel = opened(shop["Bench"], 10)
    placed(batch, reel, 5)
    happens(batch, "move", 1, place=other)
    assert codes(shop["Bench"]) == [reel]
    assert codes(other) == [batch]


def test_in_dry_storage_and_in_the_oven_it_is_one_line_too(
    shop: dict[str, str], batch: str
) -> None:
    """There its placements were on the list by themselves: they are in the batch's line now."""
    reel, second = opened(shop["Bench"], 10), opened(shop["Bench"], 10)
    dry, baked = placed(batch, reel, 5), placed(batch, second, 5)
    readings(shop["Cabinet"], 24, 3, 3)
    happens(batch, "move", 2, place=shop["Cabinet"])
    assert {one.code for one in watch_list.glances(NOW)} == {reel, second, dry, baked}
    (found,) = board_glances.unfinished(NOW).watched
    assert (found.code, found.status, found.next_step.kind) == (batch, "dry_storage", "keep")
    assert set(codes()) == {reel, second, batch}
    assert board_glances.unfinished(NOW, shop["Cabinet"]).watched_placements == 2
    happens(batch, "bake_start", 1, place=shop["Oven"], temp_c=90.0)
    (found,) = board_glances.unfinished(NOW).watched
    assert found.bake is not None
    assert (found.status, found.bake.oven, found.bake.reached_at) == ("baking", shop["Oven"], None)
    assert set(codes()) == {reel, second, batch}


def test_what_dry_storage_made_whole_is_off_the_list(shop: dict[str, str], batch: str) -> None:
    """Level 3, two hours out: whole after ten in the cabinet (J-STD-033 Table 4-3, five times)."""
    reel = opened(shop["Bench"], 14)
    placed(batch, reel, 13)
    readings(shop["Cabinet"], 24, 3, 13)
    happens(batch, "move", 12, place=shop["Cabinet"])
    (found,) = board_glances.unfinished(NOW).glances
    assert (found.used, found.last_reset_at) == (0, NOW - 2 * 3600)
    assert batch not in codes()


def test_what_was_never_out_for_a_second_is_between_reflows_too(
    shop: dict[str, str], batch: str
) -> None:
    """Opened, placed and closed again with one moment for all."""
    piece = placed(batch, opened(shop["Bench"], 0), 0)
    close = NewEvent(
        str(uuid4()), piece, "close", NOW, desiccant="fresh", new_hic="fresh", seal="heat"
    )
    record([close], NOW)
    (found,) = board_glances.unfinished(NOW).glances
    assert (found.code, found.status) == (batch, "in_dry_bag")
    assert_same(found, board_glances.glance_of_batch(now(batch)))


def test_without_standings_every_batch_is_looked_at(shop: dict[str, str], batch: str) -> None:
    """They can be dropped at any time: the answer is the same, in a transaction too."""
    placed(batch, opened(shop["Bench"], 10), 5)
    before = board_glances.unfinished(NOW)
    with write():
        table.drop()
        dropped = board_glances.unfinished(NOW)
    assert dropped.placements == before.placements
    for one, other in zip(before.glances, dropped.glances, strict=True):
        assert_same(one, other)
    assert board_glances.unfinished(NOW) == before
    assert table.build() is not None


def assert_same(fast: BatchGlance, slow: BatchGlance) -> None:
    """Hold a batch against what folding each of its components says, and each of them too."""
    assert fast.batch == slow.batch
    assert len(fast.on_it) == len(slow.on_it)
    for one, other in ((fast, slow), *zip(fast.on_it, slow.on_it, strict=True)):
        assert unmoved(one) == unmoved(other)
        # Rounded up by what each second of a standing is, never down.
        assert other.used * (1 - Fraction(1, 10**15)) <= one.used <= other.used + ROUNDING
        assert (one.left_h is None) == (other.left_h is None)
        if one.left_h is not None and other.left_h is not None:
            assert abs(one.left_h - other.left_h) * HOUR < 1
            assert one.expires_at == pytest.approx(other.expires_at, abs=1)


def test_what_may_be_reflowed_is_not_folded(
    shop: dict[str, str], batch: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hundreds at work are on every screen, which is made anew after every scan."""
    catalog.create_part(PartFacts("BL-0506", "5", body_mm=1.4), NOW)
    usable = boards.create(NewBatch("Mast board", 5, shop["Bench"]), NOW)[0].code
    for reel in (opened(shop["Bench"], 10), opened(shop["Bench"], 8, part="BL-0506")):
        placed(batch, reel, 2, quantity=10)
        placed(usable, reel, 2, quantity=10)
    for code in (batch, usable):
        happens(code, "reflow", 1, peak_c=240.0)
    happens(batch, "hold", 0, person="Ines", reason="paste is old")
    folded: list[str] = []

    def fold(codes: list[str], at: int) -> list[BatchState]:
        folded.extend(codes)
        return states_of_batches(codes, at)

    monkeypatch.setattr(board_glances, "states_of_batches", fold)
    found = {one.code: one for one in board_glances.unfinished(NOW).glances}
    assert found.keys() == {batch, usable}
    assert folded == [batch]
    for code, one in found.items():
        assert_same(one, board_glances.glance_of_batch(now(code)))
    assert found[usable].next_step.text.startswith("Reflow pass 2")


def test_held_parts_are_red_and_first(shop: dict[str, str], batch: str) -> None:
    """What must not be reflowed comes before what has less time left."""
    placed(batch, opened(shop["Bench"], 2), 1)
    short = opened(shop["Bench"], 160)
    assert codes()[0] == short
    happens(batch, "hold", 0, person="Ines", reason="paste is old")
    assert codes()[0] == batch
    (found,) = board_glances.unfinished(NOW).watched
    assert (found.verdict, found.next_step.kind) == ("do_not_use", "hold")


@RANDOM
@given(st.data())
def test_the_lists_say_what_folding_everything_says(empty: Path, data: st.DataObject) -> None:
    """Whatever happens: each batch that faces a reflow once, as its own page has it, and each
    watched carrier that is on none, where they are."""
    with copy_of(empty):
        floor = Floor(data.draw)
        for reel in floor.carriers[:2]:
            begin = [
                NewEvent(str(uuid4()), reel, "open", floor.now, hic=DRY),
                NewEvent(
                    str(uuid4()), reel, "place_on_board", floor.now, quantity=5, board=floor.batch
                ),
            ]
            floor.carriers += [one.child for one in record(begin, floor.now) if one.child]
        for _ in range(data.draw(st.integers(5, 25))):
            floor.step()
        place = floor.one(None, *floor.places.values())
        carriers = watch_list.glances(floor.now, place)
        found = list(board_glances.unfinished(floor.now, place).among(carriers))
        states = [one for one in boards.batches(floor.now) if one.placements]
        facing = [s for s in states if s.finished_at is None and s.status != "gone"]
        theirs = {one.placed.code for s in facing for one in s.placements}
        watched = carrier_states.watch_by_folding(floor.now, place)
        assert {one.code for one in found if not isinstance(one, BatchGlance)} == {
            one.facts.code for one in watched if one.facts.code not in theirs
        }, floor.did
        expected = {
            s.batch.code: s
            for s in facing
            if place in (None, s.place) and (s.status in ("on_board", "baking") or s.used_share)
        }
        shown = {one.code: one for one in found if isinstance(one, BatchGlance)}
        assert shown.keys() == expected.keys(), floor.did
        for code, state in expected.items():
            assert_same(shown[code], board_glances.glance_of_batch(state))
