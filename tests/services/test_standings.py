"""The watch list from the standings equals the one from folding every carrier, whatever happens."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from typing import Any
from unittest import mock
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, Phase, event, given, settings
from hypothesis import strategies as st

from msdtrack.exposure.facts import HOUR_S, PartFacts
from msdtrack.exposure.state import CarrierState
from msdtrack.services import (
    answers,
    board_glances,
    carrier_states,
    catalog,
    climate,
    event_recording,
    standings,
    watch_list,
)
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.glance import Glance, glance_of
from msdtrack.services.watch_list import WatchLine
from msdtrack.services.whereabouts import at_place
from msdtrack.store import carriers, concerned, connection, stays, whereabouts
from msdtrack.store import standings as table
from msdtrack.store.connection import close_store, open_store
from msdtrack.times import parse_time
from tests.postgresql_cluster import Cluster
from tests.services.conftest import NOW, receive
from tests.services.floor import DRY, Floor

ROUNDING = 1e-9
"""Whole 1e-15 floor lives, one a second at most, over the weeks of a history here."""

RANDOM = settings(
    max_examples=120,
    deadline=None,
    derandomize=True,
    # Each example is a database: shrinking one takes minutes and helps little.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An SQLite file with empty tables, to be copied."""
    path = tmp_path_factory.mktemp("empty") / "empty.db"
    open_store(f"sqlite:///{path}")
    close_store()
    return path


@contextmanager
def copy_of(empty: Path) -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        path = shutil.copy(empty, Path(folder) / "floor.db")
        url = f"sqlite:///{path}"
        open_store(url)
        try:
            yield url
        finally:
            close_store()


def assert_same(lines: list[WatchLine], states: list[CarrierState]) -> None:
    by_code = {one.facts.code: one for one in states}
    assert {one.code for one in lines} == by_code.keys()
    for line in lines:
        assert_same_answer(line.answer, answers.state_answer(by_code[line.code]))
    assert_same_order([one.code for one in lines], states)


def assert_same_order(codes: list[str], states: list[CarrierState]) -> None:
    """Where the time left is the same to a second, either may come first."""

    def loosely(state: CarrierState) -> tuple[int, float]:
        rank, left_h, _ = carrier_states.urgency(state)
        return rank, left_h

    by_code = {one.facts.code: one for one in states}
    for code, state in zip(codes, states, strict=True):
        (rank, left_h), (other, left) = loosely(by_code[code]), loosely(state)
        assert rank == other
        assert left_h == left or abs(left_h - left) * HOUR_S < 1


def assert_same_answer(fast: dict[str, Any], slow: dict[str, Any]) -> None:
    assert fast["at"] == slow["at"]
    near, exact = fast["floor_life"], slow["floor_life"]
    for name in ("used_share", "provisional_share", "assumed_share"):
        assert near[name] == pytest.approx(exact[name], rel=1e-12, abs=ROUNDING), name
    assert near["used_share"] >= exact["used_share"] * (1 - 1e-15)
    assert near["label_hours"] == exact["label_hours"]
    if exact["label_hours"] is not None:
        used_h = near["used_share"] * exact["label_hours"]
        assert near["used_hours_at_label"] == pytest.approx(used_h)
    left, left_h = near["remaining_hours_now"], exact["remaining_hours_now"]
    assert (left is None) == (left_h is None)
    if left is not None:
        assert abs(left - left_h) * HOUR_S < 1
        assert abs(parse_time(near["expires_at"]) - parse_time(exact["expires_at"])) <= 1
    hours, exact_hours = fast["bakes"]["hours_above_90"], slow["bakes"]["hours_above_90"]
    assert hours == pytest.approx(exact_hours)
    assert fast["bakes"]["count"] == slow["bakes"]["count"]
    for name in fast.keys() | slow.keys():
        if name not in ("floor_life", "bakes"):
            assert fast[name] == slow[name], name


def assert_same_glances(glances: list[Glance], states: list[CarrierState]) -> None:
    assert_same_order([one.code for one in glances], states)
    by_code = {one.facts.code: glance_of(one) for one in states}
    for fast in glances:
        slow = by_code[fast.code]
        assert slow.used * (1 - Fraction(1, 10**15)) <= fast.used <= slow.used + ROUNDING
        assert (fast.left_h is None) == (slow.left_h is None)
        if fast.left_h is not None and slow.left_h is not None:
            assert abs(fast.left_h - slow.left_h) * HOUR_S < 1
            assert fast.expires_at is not None
            assert slow.expires_at is not None
            assert abs(fast.expires_at - slow.expires_at) <= 1
        assert fast.more.provisional == pytest.approx(float(slow.more.provisional), abs=ROUNDING)
        assert fast.more.assumed == pytest.approx(float(slow.more.assumed), abs=ROUNDING)
        assert unmoved(fast) == unmoved(slow)


def unmoved(seen: Glance) -> Glance:
    """Return what must be the same to the last digit."""
    return seen._replace(
        used=0,
        left_h=None,
        expires_at=None,
        more=seen.more._replace(provisional=0, assumed=0),
    )


def check(now: int, places: list[str]) -> None:
    """Hold both lists together."""
    slow = carrier_states.watch_by_folding(now)
    # First, for only what is at a place is brought up to date for it.
    for place in places:
        there = [s for s in slow if s.ledger.place == place]
        assert_same(watch_list.lines(now, place), there)
        first, count = watch_list.most_urgent(now, place, 2)
        assert first == list(watch_list.glances(now, place))[:2]
        assert count == len(there)
    assert_same(watch_list.lines(now), slow)
    assert_same_glances(list(watch_list.glances(now)), slow)
    assert [one.facts.code for one in carrier_states.watch(now)] == [one.facts.code for one in slow]


def check_whereabouts(now: int, places: Iterable[str]) -> None:
    """Hold what is said to be at each place against folding every carrier there ever was."""
    alive = [
        state
        for state in carrier_states.states(carriers.carrier_codes(), now).values()
        if state.status != "gone"
    ]
    for place in places:
        there = {one.facts.code for one in alive if one.ledger.place == place}
        with connection.read():
            surely, perhaps = at_place(place, now)
            assert surely <= there <= surely | perhaps
            assert there <= set(whereabouts.ever_at_place(place))
        answers_at, stale = standings.answering(now, place)
        if answers_at == now and stale == []:
            assert at_place(place, now) == (there, frozenset())


def random_history(data: st.DataObject, steps: int) -> None:
    floor = Floor(data.draw)
    # With small pieces hardly anything is drawn in the transaction that changes it.
    with mock.patch.object(standings, "PIECE", data.draw(st.sampled_from([1, 2, 100]))):
        random_history_of(floor, data, steps)


def random_history_of(floor: Floor, data: st.DataObject, steps: int) -> None:
    standings.rebuild(floor.now)
    try:
        for _ in range(data.draw(st.integers(3, steps))):
            floor.step()
            check_whereabouts(floor.now, floor.places.values())
            check(floor.now, [])
        check(floor.now, list(floor.places.values()))
        check(floor.now - data.draw(st.sampled_from([1, 30, 300, 7200])), [])
        later = floor.now + data.draw(st.sampled_from([1, 1200, 3600, 200_000]))
        check_whereabouts(later, floor.places.values())
        check(later, list(floor.places.values()))
        check(floor.now, [])
        # Later than any clock that was ahead.
        assert_rebuilt_says_the_same(floor.now + 200)
    except AssertionError:
        print("\n".join(floor.did))
        raise


def assert_rebuilt_says_the_same(now: int) -> None:
    before, stayed, resting = watch_list.lines(now), stays.stays(), whereabouts.resting()
    standings.rebuild(now)
    after = watch_list.lines(now)
    assert [one.code for one in after] == [one.code for one in before]
    for one, other in zip(after, before, strict=True):
        assert_same_answer(one.answer, other.answer | {"floor_life": one.answer["floor_life"]})
    assert stays.stays() == stayed
    assert whereabouts.resting() == resting


@RANDOM
@given(data=st.data())
def test_any_history_gives_the_same_list(empty: Path, data: st.DataObject) -> None:
    with copy_of(empty):
        random_history(data, 25)


@pytest.mark.postgresql
@settings(RANDOM, max_examples=5)
@given(data=st.data())
def test_any_history_gives_the_same_list_on_postgresql(
    postgresql_cluster: Cluster, data: st.DataObject
) -> None:
    with postgresql_cluster.database() as url:
        open_store(url)
        try:
            random_history(data, 12)
        finally:
            close_store()


@RANDOM
@given(data=st.data())
def test_readings_that_do_not_move_a_places_version_change_nothing_there(
    empty: Path, data: st.DataObject
) -> None:
    """What screens of a place are made from is as it was, as long as its version is."""
    with copy_of(empty):
        floor = Floor(data.draw)
        standings.rebuild(floor.now)
        for _ in range(data.draw(st.integers(3, 15))):
            floor.step()
        others = list(floor.places.values())
        for _ in range(3):
            now = floor.now
            before = {code: what_is_at(code, now) for code in others}
            place = data.draw(st.sampled_from(others))
            minutes = data.draw(st.lists(st.integers(-3000, 0), min_size=1, max_size=3))
            rows = [NewReading(place, now + 60 * minute, 29.0, 70.0) for minute in minutes]
            climate.add_readings(rows, now, replaces=True)
            after = {code: what_is_at(code, now) for code in others}
            for code in others:
                assert after[code] == before[code] or after[code][0] != before[code][0], code
            moved = {code for code in others if after[code][0] != before[code][0]}
            assert place in moved or after == before
            event(f"screens of {'all' if len(moved) == len(others) else len(moved)} places change")


def what_is_at(place: str, now: int) -> tuple[str, Any]:
    """Return the version of a place, and what its screen shows."""
    version = connection.version_at(place)
    seen = board_glances.unfinished(now, place).among(watch_list.glances(now, place))
    return version, (list(seen), climate.air_now(place, now))


def opened_reel(place: str) -> str:
    code = receive(place).code
    opening = NewEvent(str(uuid4()), code, "open", NOW - HOUR_S, hic=DRY)
    event_recording.record([opening], NOW)
    return code


def readings(place: str, *minutes: int, air: tuple[float, float] = (22.0, 45.0)) -> None:
    rows = [NewReading(place, NOW + 60 * minute, *air) for minute in minutes]
    climate.add_readings(rows, NOW + 60 * max(*minutes, 0))


def test_readings_that_go_on_need_no_fold(shop: dict[str, str]) -> None:
    """The line goes on with its place: what is stored of the carrier is not touched."""
    readings(shop["Bench"], *range(-90, 1, 5))
    code = opened_reel(shop["Bench"])
    standings.rebuild(NOW + 1)
    (before,) = table.standings()
    for minute in range(5, 60, 5):
        readings(shop["Bench"], minute)
    now = NOW + 56 * 60
    assert standings.answering(now) == (now, [])
    assert [one.carrier for one in table.urgent(now, None, None)] == [code]
    assert table.standings() == [before]
    check(now, [])


def test_a_late_reading_reaches_only_whom_it_concerns(shop: dict[str, str]) -> None:
    readings(shop["Bench"], *range(-90, 1, 5))
    touched, other = opened_reel(shop["Bench"]), opened_reel(shop["Cabinet"])
    standings.rebuild(NOW + 1)
    before = {one.carrier: one for one in table.standings()}
    readings(shop["Bench"], -32, air=(29.0, 65.0))
    after = {one.carrier: one for one in table.standings()}
    assert after[touched].share > before[touched].share
    assert after[other] == before[other]
    check(NOW + 1, [])


def test_what_has_never_been_opened_costs_nothing(shop: dict[str, str]) -> None:
    receive(shop["Bench"])
    standings.rebuild(NOW)
    assert table.standings() == []


def test_what_was_scrapped_lately_is_there_for_who_asks_as_of_before(shop: dict[str, str]) -> None:
    """Though all is computed anew in between; what was scrapped long before is left alone."""
    lately, long_before = opened_reel(shop["Bench"]), opened_reel(shop["Bench"])
    events = [
        NewEvent(str(uuid4()), long_before, "scrap", NOW - 1800, reason="bent leads"),
        NewEvent(str(uuid4()), lately, "scrap", NOW - 60, reason="bent leads"),
    ]
    event_recording.record(events, NOW - 50)
    standings.rebuild(NOW)
    assert [one.code for one in watch_list.lines(NOW - 300)] == [lately]
    check(NOW - 300, [])
    check(NOW, [])
    assert concerned.perhaps_out(NOW - 600) == [lately]
    mistaken = {"event": events[0].id, "void": True, "reason": "another reel", "person": "Ines"}
    corrected = NewEvent(str(uuid4()), long_before, "correct", **mistaken)
    event_recording.record([corrected], NOW)
    assert concerned.perhaps_out(NOW + 600) == [long_before]


def test_other_tables_build_it_anew(shop: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    """What was computed from other published figures is not taken for an answer."""
    opened_reel(shop["Bench"])
    standings.rebuild(NOW)
    monkeypatch.setattr(standings, "_mark", lambda: "1 other figures")
    check(NOW, [])
    build = table.build()
    assert build is not None
    assert build[0] == "1 other figures"


def test_milder_air_than_was_thought_gives_floor_life_back(shop: dict[str, str]) -> None:
    """A sensor that was cut off sends what it kept: the last hot reading did not hold so long."""
    catalog.create_part(PartFacts("BL-4", "4", body_mm=0.9, label_floor_life_hours=10), NOW)
    readings(shop["Bench"], *range(-540, -20, 10))
    readings(shop["Bench"], -20, air=(31.0, 70.0))
    code = receive(shop["Bench"], part="BL-4").code
    event_recording.record([NewEvent(str(uuid4()), code, "open", NOW - 9 * HOUR_S, hic=DRY)], NOW)
    standings.rebuild(NOW)
    (before,) = watch_list.glances(NOW)
    assert "floor_life_exceeded" in before.reasons
    readings(shop["Bench"], *range(-19, 1))
    (after,) = watch_list.glances(NOW)
    assert "floor_life_exceeded" not in after.reasons
    check(NOW, [shop["Bench"]])
