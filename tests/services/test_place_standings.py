"""Other assumed air or tolerances of a place have drawn anew what they may change, no more."""

from __future__ import annotations

from pathlib import Path
from uuid import uuid4

from hypothesis import given, settings
from hypothesis import strategies as st

from msdtrack.services import catalog, climate, event_recording, standings, watch_list
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import standings as table
from tests.services.conftest import NOW, receive
from tests.services.floor import DRY, HOUR, Floor
from tests.services.test_standings import RANDOM, check, copy_of, empty, random_history_of

__all__ = ["empty"]


class ChangingFloor(Floor):
    """A factory whose sensors are replaced often."""

    def step(self) -> None:
        if self.one(True, False, False):
            self._settings()
        else:
            super().step()


@settings(RANDOM, max_examples=60)
@given(data=st.data())
def test_any_history_with_many_settings_gives_the_same_list(
    empty: Path,
    data: st.DataObject,
) -> None:
    with copy_of(empty):
        random_history_of(ChangingFloor(data.draw), data, 15)


def test_what_left_a_place_before_is_not_drawn_anew(shop: dict[str, str]) -> None:
    """Thousands were at a bench in their time, of which hundreds are there now."""
    line, _ = catalog.create_place(catalog.NewPlace(name="Line", kind="line"), NOW - HOUR)
    there, left = (receive(shop["Bench"]).code for _ in range(2))
    for code in (there, left):
        opening = NewEvent(str(uuid4()), code, "open", at=NOW - HOUR, hic=DRY)
        event_recording.record([opening], NOW - HOUR)
    moving = NewEvent(str(uuid4()), left, "move", at=NOW - 60, place=line.code)
    event_recording.record([moving], NOW - 60)
    standings.rebuild(NOW)
    catalog.amend_place(shop["Bench"], {"assumed_rh_pct": 75.0}, NOW + 60)
    since = {one.carrier: one.since for one in table.standings()}
    assert {code for code in (there, left) if since[code] == NOW + 60} == {there}
    check(NOW + 60, [*shop.values(), line.code])
    check(NOW + 2 * HOUR, [*shop.values(), line.code])


def closed_again(bench: str) -> str:
    """Open a reel at the bench for an hour, and close it well."""
    code = receive(bench).code
    events = [
        NewEvent(str(uuid4()), code, "open", NOW - 2 * HOUR, hic=DRY),
        NewEvent(
            str(uuid4()), code, "close", NOW - HOUR, desiccant="fresh", new_hic="fresh", seal="heat"
        ),
    ]
    event_recording.record(events, NOW)
    return code


def test_in_its_bag_too_it_is_forecast_by_the_air_that_is_assumed(shop: dict[str, str]) -> None:
    """Its time left is reckoned as if it were out of it, in that air."""
    store, _ = catalog.create_place(catalog.NewPlace(name="Store", kind="store"), NOW - HOUR)
    code = closed_again(shop["Bench"])
    moving = NewEvent(str(uuid4()), code, "move", at=NOW - 60, place=store.code)
    event_recording.record([moving], NOW)
    standings.rebuild(NOW)
    catalog.amend_place(store.code, {"assumed_temp_c": 35.0, "assumed_rh_pct": 90.0}, NOW)
    settled = NOW + 15 * 60
    (seen,) = watch_list.glances(settled, store.code)
    assert seen.air == (3500, 9000)
    check(settled, [store.code])
    check(NOW, [store.code])


def test_in_its_bag_too_it_is_forecast_by_the_first_reading(shop: dict[str, str]) -> None:
    store, _ = catalog.create_place(catalog.NewPlace(name="Store", kind="store"), NOW - HOUR)
    code = closed_again(shop["Bench"])
    moving = NewEvent(str(uuid4()), code, "move", at=NOW - 60, place=store.code)
    event_recording.record([moving], NOW)
    standings.rebuild(NOW)
    climate.add_readings([NewReading(store.code, NOW, 35.0, 88.0)], NOW)
    check(NOW, [store.code])
    check(NOW + HOUR, [store.code])
