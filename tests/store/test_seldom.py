"""Places and policies are read again as soon as one has changed, and never as they were undone."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import pytest

from msdtrack.exposure.facts import AirSettings, PartFacts
from msdtrack.store import catalog, places, policies, reading_log
from msdtrack.store.connection import read, write
from tests.store.samples import T0, add_readings, fill

CHANGES: list[Callable[[], object]] = [
    lambda: places.insert_place("OVEN1", "Oven", "oven", T0, AirSettings()),
    lambda: places.update_place("LINE1", {"name": "Line 2"}, reason="moved", recorded_at=T0),
    lambda: places.update_place("LINE1", {"kind": "floor"}, reason="slip", recorded_at=T0),
    lambda: places.set_air("LINE1", AirSettings(2500, 5500), T0 + 5, recorded_at=T0),
    lambda: catalog.update_part("1001-A", {"body_mm": 2.2}, reason="slip", recorded_at=T0),
    lambda: catalog.insert_part(PartFacts("1009-Z", "3", body_mm=1.4), T0),
    lambda: policies.set_policy("credit", True, T0, recorded_at=T0),
]


def everything() -> tuple[object, ...]:
    """Return all that is kept."""
    with read():
        parts = catalog.parts_by_number(["1001-A", "1009-Z"])
        return [*places.places()], parts, policies.policies()


def undone(change: Callable[[], object]) -> None:
    """Make a change, see it, and undo it."""
    before = everything()
    with suppress(ZeroDivisionError), write():
        change()
        assert everything() != before
        raise ZeroDivisionError


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_is_seen_at_once(store: str, change: Callable[[], object]) -> None:
    """Inside its transaction, after it, and by who read before."""
    fill()
    before = everything()
    with write():
        assert everything() == before
        change()
        inside = everything()
        assert inside != before
        assert everything() == inside
    assert everything() == inside
    with read():
        assert places.place("LINE1") in places.places()


@pytest.mark.parametrize("change", CHANGES)
def test_what_was_undone_is_not_kept(store: str, change: Callable[[], object]) -> None:
    """Though another change gets the same ids after it."""
    fill()
    before = everything()
    undone(change)
    assert everything() == before
    with write():
        undone(change)
        assert everything() == before
        places.insert_place("STORE2", "Store 2", "store", T0, AirSettings())
        policies.set_policy("cumulative_bake_h", 48, T0, recorded_at=T0)
        changed = everything()
    assert everything() == changed
    assert places.place("STORE2") == replace(places.place("STORE2"), name="Store 2")


def test_each_change_of_readings_is_seen(store: str) -> None:
    """Of any place, from inside its transaction on, and not if it was undone."""
    fill()
    places_before = everything()

    def add(place: str, second: int) -> None:
        add_readings(place, [(second, 2200, 4500)], T0 + 9)

    def versions() -> dict[str, int]:
        with read():
            found = reading_log.reading_versions()
        return {place: version.changes for place, version in found.items()}

    assert versions() == {}
    with write():
        add("LINE1", T0)
        assert versions() == {"LINE1": 1}
        add("STORE1", T0)
        assert versions() == {"LINE1": 1, "STORE1": 1}
    with suppress(ZeroDivisionError), write():
        add("LINE1", T0 + 1)
        assert versions() == {"LINE1": 2, "STORE1": 1}
        raise ZeroDivisionError
    assert versions() == {"LINE1": 1, "STORE1": 1}
    with write():
        add("STORE1", T0 + 1)
    assert versions() == {"LINE1": 1, "STORE1": 2}
    assert everything() == places_before
