"""Carriers: stored as received, corrected with a trace, with their ancestors and bags."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from msdtrack.errors import BadInput, Conflict, NotFound
from msdtrack.exposure.events import Kind
from msdtrack.exposure.facts import CarrierFacts, PartFacts
from msdtrack.store import carriers, catalog, event_log
from msdtrack.store.connection import write
from tests.store.samples import CARRIER, PRESSURE_SENSOR, T0, another, event, fill, write_and_fail


def test_a_carrier_comes_back_as_it_was_given(store: str) -> None:
    """Dates are dates, and what is unknown is None."""
    bare = another(
        "CARRIER2", bag=None, sealed_on=None, shelf_life_ends=None, place=None, body_mm=2.2
    )
    fill(bare)
    assert carriers.carrier("CARRIER1") == CARRIER
    assert carriers.carrier("CARRIER2") == bare
    assert carriers.carriers_by_code(["CARRIER2", "NONE"]) == {"CARRIER2": bare}
    assert carriers.carrier_codes() == ["CARRIER1", "CARRIER2"]
    with pytest.raises(NotFound, match="NONE"):
        carriers.carrier("NONE")


@pytest.mark.parametrize(
    "wrong",
    [{"code": "CARRIER1"}, {"part": "NONE"}, {"place": "NONE"}, {"parent": "CARRIER1"}],
    ids=["code taken", "no such part", "no such place", "a parent without a split"],
)
def test_a_carrier_that_contradicts_what_is_stored_is_refused(
    store: str, wrong: dict[str, str]
) -> None:
    """Nothing is written."""
    fill()
    with pytest.raises(Conflict), write():
        carriers.insert_carrier(replace(another("CARRIER2"), **wrong))
    assert carriers.carrier_codes() == ["CARRIER1"]


def test_serial_numbers_count_by_kind_and_none_is_given_twice(store: str) -> None:
    """A number that was taken in a write that failed is free again."""
    with write():
        assert [carriers.next_serial("carrier") for _ in range(3)] == [1, 2, 3]
        assert carriers.next_serial("place") == 1
    with pytest.raises(ZeroDivisionError):
        write_and_fail(lambda: carriers.next_serial("carrier"))
    with write():
        assert carriers.next_serial("carrier") == 4


def test_carriers_are_listed_by_code_and_filtered(store: str) -> None:
    """By part, lot, and text in any case in code, part, lot or bag."""
    fill(another("CARRIER2", lot="L-78", bag="BAG2"), another("CARRIER3", lot="Ü-1", bag=None))
    with write():
        catalog.insert_part(PartFacts("2002-B", "3"), T0)
        carriers.insert_carrier(another("CARRIER4", part="2002-B", bag=None))

    def codes(**filters: object) -> list[str]:
        return [record.code[-1] for record in carriers.carriers(**filters)]  # type: ignore[arg-type]

    assert codes() == ["1", "2", "3", "4"]
    assert codes(after="CARRIER1", limit=2) == ["2", "3"]
    assert codes(part="2002-B") == ["4"]
    assert codes(lot="L-78") == ["2"]
    assert codes(text="l-7") == ["1", "2", "4"]
    assert codes(text="bag2") == ["2"]
    assert codes(text="2002") == ["4"]
    assert codes(text="2" * 100_000) == []
    assert codes(part="1001-A", text="carrier3") == ["3"]


def test_carriers_of_a_place_are_those_that_may_be_there(store: str) -> None:
    """Received there, sent there by an event, or by a correction of one."""
    fill(another("CARRIER2"), another("CARRIER3", place=None), another("CARRIER4", place="LINE1"))
    move = event(Kind.MOVE, carrier="CARRIER2", place="LINE1")
    wrong = event(Kind.MOVE, carrier="CARRIER3", place="STORE1")
    fields = {"place": "LINE1"}
    correction = event(Kind.CORRECT, carrier="CARRIER3", corrects=wrong.id, fields=fields)
    with write():
        event_log.append([move, wrong, correction], T0)
    found = [record.code for record in carriers.carriers(place="LINE1")]
    assert found == ["CARRIER2", "CARRIER3", "CARRIER4"]
    assert carriers.carriers(place="CABINET1") == []


def test_facts_are_the_part_s_with_the_carrier_s_own_label_put_in(store: str) -> None:
    """The label on the carrier is nearer to the components than the part's record."""
    fill(another("CARRIER2", msl="4", label_floor_life_hours=24.0))
    found = carriers.carrier_facts(["CARRIER1", "CARRIER2", "NONE"])
    assert found == {
        "CARRIER1": CarrierFacts(
            code="CARRIER1",
            part=PRESSURE_SENSOR,
            lot="L-77",
            kind="tray",
            quantity=400,
            received_at=T0,
            sealed_on=date(2025, 3, 1),
            shelf_life_ends=date(2026, 3, 1),
            bag="BAG1",
            place="STORE1",
        ),
        "CARRIER2": replace(
            found["CARRIER1"],
            code="CARRIER2",
            part=replace(PRESSURE_SENSOR, msl="4", label_floor_life_hours=24.0),
        ),
    }


def split_twice() -> tuple[str, str]:
    """Split a child off the sample carrier and a grandchild off the child; the split events."""
    first = event(Kind.SPLIT, at=T0 + 1, quantity=10, child="CARRIER2")
    second = event(Kind.SPLIT, at=T0 + 2, carrier="CARRIER2", quantity=5, child="CARRIER3")
    own = {"received_at": T0 + 1, "bag": None, "place": None, "sealed_on": None, "kind": "strip"}
    with write():
        event_log.append([first], T0)
        carriers.insert_carrier(
            another("CARRIER2", parent="CARRIER1", split_event=first.id, quantity=10, **own)
        )
        event_log.append([second], T0)
        carriers.insert_carrier(
            another("CARRIER3", parent="CARRIER2", split_event=second.id, quantity=5, **own)
        )
    return first.id, second.id


def test_all_ancestors_are_found(store: str) -> None:
    """For every carrier on the way up, and none for one that was received."""
    fill(another("CARRIER9"))
    first, second = split_twice()
    assert carriers.parents(["CARRIER3"]) == {
        "CARRIER3": ("CARRIER2", second),
        "CARRIER2": ("CARRIER1", first),
    }
    assert carriers.parents(["CARRIER1", "CARRIER9"]) == {}


def test_a_split_off_carrier_follows_what_is_stated_of_its_ancestor(store: str) -> None:
    """A correction at the root reaches the children; a child's own label stands above it."""
    fill()
    split_twice()
    with write():
        carriers.update_carrier(
            "CARRIER1", {"sealed_on": date(2025, 4, 2), "msl": "4"}, reason="r", recorded_at=T0
        )
        carriers.update_carrier(
            "CARRIER3", {"label_floor_life_hours": 12.0}, reason="r", recorded_at=T0
        )
    facts = carriers.carrier_facts(["CARRIER3", "CARRIER2"])
    assert facts["CARRIER3"] == CarrierFacts(
        code="CARRIER3",
        part=replace(PRESSURE_SENSOR, msl="4", label_floor_life_hours=12.0),
        lot="L-77",
        kind="strip",
        quantity=5,
        received_at=T0,
        sealed_on=date(2025, 4, 2),
        shelf_life_ends=date(2026, 3, 1),
        bag="BAG1",
        place="STORE1",
    )
    assert facts["CARRIER2"].part == replace(PRESSURE_SENSOR, msl="4")


def test_everyone_who_was_in_a_bag_is_found(store: str) -> None:
    """Received in it, or put into it later."""
    fill(another("CARRIER2", bag=None), another("CARRIER3", bag="BAG3"))
    with write():
        event_log.append([event(Kind.CLOSE, carrier="CARRIER2", bag="BAG1")], T0)
    assert carriers.codes_that_had_bag("BAG1") == ["CARRIER1", "CARRIER2"]
    assert carriers.codes_that_had_bag("BAG9") == []


def test_a_corrected_carrier_leaves_a_trace(store: str) -> None:
    """Dates are on record as text; code and parent can't be corrected."""
    fill()
    with write():
        after = carriers.update_carrier(
            "CARRIER1",
            {"sealed_on": date(2025, 2, 28), "lot": "L-77", "msl": "5"},
            reason="label read again",
            recorded_at=T0 + 8,
            person="W2",
        )
    assert after == replace(CARRIER, sealed_on=date(2025, 2, 28), msl="5")
    assert carriers.carrier("CARRIER1") == after
    trace = catalog.fact_changes("carrier", "CARRIER1")
    assert [(c.field, c.before, c.after, c.person) for c in trace] == [
        ("sealed_on", "2025-03-01", "2025-02-28", "W2"),
        ("msl", None, "5", "W2"),
    ]
    for wrong in ("code", "parent", "split_event", "recorded_at"):
        with pytest.raises(BadInput, match=wrong), write():
            carriers.update_carrier("CARRIER1", {wrong: "x"}, reason="r", recorded_at=T0)


def test_many_carriers_are_asked_for_at_once(store: str) -> None:
    """More codes than a statement may have parameters."""
    fill()
    many = [f"NONE{i}" for i in range(300_000)]
    assert list(carriers.carrier_facts([*many, "CARRIER1"])) == ["CARRIER1"]
    assert len(event_log.logs([*many, "CARRIER1"])) == 300_001
