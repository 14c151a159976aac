"""Makers' parts and what was read at goods-in: kept as given, and as records."""

from __future__ import annotations

from datetime import date

import pytest

from msdtrack.errors import BadInput, Conflict, NotFound
from msdtrack.store import goods_in
from msdtrack.store.connection import close_store, open_store, opened, write
from msdtrack.store.database_url import run
from msdtrack.store.goods_in import GoodsInRecord, MakerPartRecord
from msdtrack.store.migrations import ALL
from msdtrack.store.traces import fact_changes
from tests.store.samples import PRESSURE_SENSOR, T0, fill

PART = PRESSURE_SENSOR.number


@pytest.fixture
def filled(store: str) -> str:
    """A store with a part and carriers; returns the code of one of them."""
    fill()
    return str(run(opened(), "SELECT code FROM carrier ORDER BY code").fetchone()[0])


def test_makers_parts_are_found_by_part_and_by_number(filled: str) -> None:
    with write():
        first = goods_in.insert_maker_part(MakerPartRecord(0, PART, "MK-1", "S9", "4", 1.2, 48), T0)
        second = goods_in.insert_maker_part(MakerPartRecord(0, PART, "MK-1"), T0)
        with pytest.raises(Conflict):
            goods_in.insert_maker_part(MakerPartRecord(0, PART, "MK-1"), T0)
        with pytest.raises(NotFound):
            goods_in.maker_part(99)
    assert first.id != second.id
    assert goods_in.maker_parts(part=PART) == [second, first]
    assert goods_in.maker_parts(maker_number="MK-2") == []
    with write():
        after = goods_in.update_maker_part(first.id, {"msl": "5"}, reason="sheet", recorded_at=T0)
        with pytest.raises(BadInput):
            goods_in.update_maker_part(first.id, {"part": "x"}, reason="", recorded_at=T0)
    assert goods_in.maker_part(first.id) == after
    assert (after.msl, after.body_mm) == ("5", 1.2)
    (change,) = fact_changes("maker_part", str(first.id))
    assert (change.before, change.after) == ("4", "5")


def test_a_maker_part_needs_its_part(filled: str) -> None:
    with pytest.raises(Conflict), write():
        goods_in.insert_maker_part(MakerPartRecord(0, "NONE", "MK-1"), T0)


def test_what_was_read_comes_back_as_given_control_characters_too(filled: str) -> None:
    with write():
        maker = goods_in.insert_maker_part(MakerPartRecord(0, PART, "MK-1"), T0)
        record = GoodsInRecord(
            filled,
            "rebagged",
            T0,
            maker.id,
            "10D2636",
            "SN-1",
            "PK-1",
            date(2026, 5, 4),
            ("[)>\x1e06\x1dP1\x1e\x04", "Q\x00é"),
            {"kind": "reel"},
        )
        goods_in.insert_goods_in(record)
    assert goods_in.goods_in(filled) == record
    assert goods_in.goods_in("C000099X") is None
    assert goods_in.goods_in_with(serial="SN-1") == [record]
    assert goods_in.goods_in_with(package="PK-1") == [record]
    assert goods_in.goods_in_with(serial="PK-1") == []
    assert goods_in.carriers_of_maker_part(maker.id) == [filled]


@pytest.mark.parametrize("sql", ["UPDATE goods_in SET serial = 'X'", "DELETE FROM goods_in"])
def test_what_was_read_is_never_changed(filled: str, sql: str) -> None:
    with write():
        goods_in.insert_goods_in(GoodsInRecord(filled, "sealed", T0))
    with pytest.raises(Conflict, match="append-only"), write():
        run(opened(), sql)
    assert goods_in.goods_in(filled) == GoodsInRecord(filled, "sealed", T0)


def test_the_tables_come_to_a_database_with_rows(database_url: str) -> None:
    """From version 2 with carriers to version 3: they are there, and can be received as goods."""
    open_store(database_url, known_migrations=ALL[:2])
    fill()
    before = run(opened(), "SELECT count(*) FROM carrier").fetchone()[0]
    open_store(database_url, known_migrations=ALL[:3])
    assert run(opened(), "SELECT count(*) FROM carrier").fetchone()[0] == before > 0
    assert goods_in.maker_parts() == []
    close_store()
