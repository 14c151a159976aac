"""Sample checks: the plan of a lot, what stands beside it, and that no record of it changes."""

from __future__ import annotations

import sqlite3
from decimal import Decimal
from uuid import uuid4

import psycopg
import pytest

from msdtrack.errors import BadInput, NotFound
from msdtrack.services import (
    measurements,
    policies,
    sample_checks,
)
from msdtrack.services.sample_checks import NewCheck
from tests.services.sample_bench import BAD, GOOD, Bench, new_bench
from tests.store.test_migrations import rows_of


@pytest.fixture
def bench(store: None) -> Bench:
    """A bench on each kind of database."""
    return new_bench()


@pytest.mark.oracle
def test_the_plan_of_a_lot_follows_the_table(bench: Bench) -> None:
    """1200 pieces: letter J, at 0.65 % 80 pieces and 1 may fail.

    Source: ISO 2859-1 tables 1 and 2-A, from memory.
    """
    lot = sample_checks.lot("PRES-3", "N5-1", bench.now)
    assert (lot.pieces, lot.bags) == (1200, 3)
    aql_pct = sample_checks.usual_aql_pct(bench.now)
    assert aql_pct == "0.65"
    bench.plan(sample_size=80, accept=1, deviation="")
    record = bench.check().record
    assert (record.letter, record.sample_size, record.accept, record.deviation) == ("J", 80, 1, "")
    policies.set_policy("sample_aql_pct", 2.5, bench.now, "Ines", "agreed")
    assert sample_checks.usual_aql_pct(bench.now) == "2.5"
    with pytest.raises(BadInput, match=r"0.65, 1, 2.5"):
        policies.set_policy("sample_aql_pct", 1.5, bench.now, "Ines", "agreed")


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"deviation": " "}, "deviation"),
        ({"sample_size": 1201}, "sample_size"),
        ({"sample_size": 0}, "sample_size"),
        ({"accept": 5}, "accept"),
        ({"bags": 4}, "bags"),
        ({"bags": 0}, "bags"),
    ],
)
def test_a_plan_that_makes_no_sense_is_refused(
    bench: Bench, wrong: dict[str, object], field: str
) -> None:
    """Other numbers than the table's need a reason, so that no lot is waved through unseen."""
    with pytest.raises(BadInput) as caught:
        bench.plan(**wrong)
    assert caught.value.errors[0].field == field
    assert sample_checks.newest() == []


def test_a_plan_sent_twice_is_one_check(bench: Bench) -> None:
    new = NewCheck("PRES-3", "N5-1", "bare", 1200, "II", "0.65", 80, 1, 2, bench.person)
    id_ = str(uuid4())
    first, created = sample_checks.create(new, bench.now, id_)
    again, created_again = sample_checks.create(new, bench.now, id_)
    assert (first, created, created_again) == (again, True, False)
    with pytest.raises(NotFound, match="lot X"):
        sample_checks.lot("PRES-3", "X", bench.now)


def test_a_check_keeps_the_limits_it_was_planned_with(bench: Bench) -> None:
    """A later change of the limits does not judge old values anew."""
    bench.plan()
    measurements.set_limits("PRES-3", "bare", "gain;5;6;mV", "Ines", "new drawing", bench.now)
    assert [one.name for one in bench.check().record.channels] == ["offset", "gain"]


def test_a_lot_is_found_by_any_of_its_carriers(bench: Bench) -> None:
    other = bench.receive(lot="N5-2")
    for text, lot in ((bench.bags[2], "N5-1"), (other, "N5-2"), ("N5-2", "N5-2")):
        assert [one.lot for one in sample_checks.find_lots(text, bench.now)] == [lot]
    assert sample_checks.find_lots("nothing", bench.now) == []


def test_earlier_lots_of_the_part_stand_beside(bench: Bench) -> None:
    """Same part, same variant, oldest first; the check itself is not among them."""
    for lot in ("N4-1", "N4-2"):
        bench.bags = [bench.receive(lot=lot) for _ in range(2)]
        bench.plan(lot=lot)
        bench.take_all()
        bench.measure(*[GOOD] * 5)
    bench.plan()
    found = measurements.earlier_lots(bench.check().record)
    assert [one.lot for one in found] == ["N4-1", "N4-2"]
    assert found[0].values["offset"] == tuple((str(n), Decimal("0.1")) for n in range(1, 6))


@pytest.mark.parametrize(
    "table",
    ["sample_limits", "sample_check", "sample_step", "sample_value", "sample_decision"],
)
@pytest.mark.parametrize("verb", ["UPDATE", "DELETE"])
def test_records_of_checks_are_append_only(
    bench: Bench, database_url: str, table: str, verb: str
) -> None:
    """In the database too."""
    bench.plan()
    bench.take_all()
    bench.measure(BAD)
    column = "lot" if table == "sample_check" else "person"
    sql = f"UPDATE {table} SET {column} = 'X'" if verb == "UPDATE" else f"DELETE FROM {table}"
    before = rows_of(database_url, f"SELECT * FROM {table}")
    assert before
    with pytest.raises((sqlite3.IntegrityError, psycopg.IntegrityError), match="append-only"):
        rows_of(database_url, sql)
    assert rows_of(database_url, f"SELECT * FROM {table}") == before
