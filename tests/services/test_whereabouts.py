"""The carriers that are there: the same as by folding every one there ever was."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

from hypothesis import given, settings
from hypothesis import strategies as st

from msdtrack.exposure.state import CarrierState
from msdtrack.services import (
    board_glances,
    cabinets,
    carrier_states,
    event_recording,
    standings,
    whereabouts,
)
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import carriers
from msdtrack.store.connection import read
from tests.services.conftest import NOW, receive
from tests.services.floor import DRY, PARTS, Floor
from tests.services.test_standings import RANDOM, check_whereabouts, copy_of, empty

__all__ = ["empty"]


def pages(now: int, limit: int, **asked: str) -> Iterator[str]:
    """Yield what all pages list."""
    after: str | None = None
    while True:
        found, after = whereabouts.present(now, after, limit, **asked)
        yield from (one.facts.code for one in found)
        if after is None:
            return


@settings(RANDOM, max_examples=80)
@given(data=st.data())
def test_whatever_happens(empty: Path, data: st.DataObject) -> None:
    with copy_of(empty):
        floor = Floor(data.draw)
        for _ in range(data.draw(st.integers(1, 20))):
            floor.step()
        now = floor.now + floor.one(0, 3600)
        every = carrier_states.states(carriers.carrier_codes(), now)
        there = [one for _, one in sorted(every.items()) if one.status != "gone"]

        def codes(found: list[CarrierState]) -> list[str]:
            return [one.facts.code for one in found]

        limit = floor.one(1, 2, 100)
        assert list(pages(now, limit)) == codes(there)
        for place in floor.places.values():
            here = [one for one in there if one.ledger.place == place]
            assert list(pages(now, limit, place=place)) == codes(here)
            ever, _ = whereabouts.ever(now, place=place)
            assert codes(ever) == [
                code for code, one in sorted(every.items()) if one.ledger.place == place
            ]
        for part in PARTS:
            of_it = [one for one in there if one.facts.part.number == part.number]
            assert list(pages(now, limit, part=part.number)) == codes(of_it)
        assert list(pages(now, limit, search="bl-3s")) == [
            one.facts.code for one in there if one.facts.part.number == "BL-3S"
        ]


def test_what_is_gone_is_listed_where_it_was_at_last(shop: dict[str, str]) -> None:
    gone, kept = receive(shop["Bench"]).code, receive(shop["Bench"]).code
    scrap = NewEvent(str(uuid4()), gone, "scrap", NOW, reason="used up")
    event_recording.record([scrap], NOW)
    found, after = whereabouts.ever(NOW, place=shop["Bench"])
    assert ([one.facts.code for one in found], after) == ([gone, kept], None)
    found, after = whereabouts.present(NOW, place=shop["Bench"])
    assert ([one.facts.code for one in found], after) == ([kept], None)
    assert whereabouts.ever(NOW, place=shop["Cabinet"]) == ([], None)


def test_what_is_gone_though_something_is_dated_later_is_not_there(
    shop: dict[str, str], batch: str
) -> None:
    """A clock that is ahead has something happen to it after it was scrapped, so that it was not:
    until then it is neither counted nor looked for on boards."""
    code, out = receive(shop["Cabinet"]).code, receive(shop["Bench"]).code
    events = [
        NewEvent(str(uuid4()), out, "open", NOW - 60, hic=DRY),
        NewEvent(str(uuid4()), out, "place_on_board", NOW, quantity=5, board=batch),
    ]
    *_, placed = event_recording.record(events, NOW)
    assert placed.child is not None
    for gone in (code, placed.child):
        events = [
            NewEvent(str(uuid4()), gone, "scrap", NOW, reason="used up"),
            NewEvent(str(uuid4()), gone, "hold", NOW + 90, reason="asked"),
        ]
        event_recording.record(events, NOW)
    for now in (NOW, NOW + 60):
        assert standings.answering(now) == (now, [])
        with read():
            assert whereabouts.at_place(shop["Cabinet"], now) == (set(), set())
        assert [one.count for one in cabinets.cabinets(now)] == [0]
        assert board_glances.unfinished(now).glances == ()
    with read():
        assert whereabouts.at_place(shop["Cabinet"], NOW + 120) == (set(), {code, placed.child})
        assert [one.code for one in board_glances.unfinished(NOW + 120).glances] == [batch]
    assert [one.count for one in cabinets.cabinets(NOW + 120)] == [1]


def test_what_was_used_up_and_is_filled_again_later_is_there_then(shop: dict[str, str]) -> None:
    """What is gone for now is not forgotten, however much is written before anybody asks."""
    code, giver = receive(shop["Bench"]).code, receive(shop["Bench"]).code
    events = [NewEvent(str(uuid4()), one, "open", NOW - 60, hic=DRY) for one in (code, giver)]
    events.append(NewEvent(str(uuid4()), code, "take", NOW, quantity=500))
    events.append(NewEvent(str(uuid4()), giver, "join", NOW + 90, into=code))
    event_recording.record(events, NOW)
    assert whereabouts.present(NOW, place=shop["Bench"])[0] == [carrier_states.state(giver, NOW)]
    receive(shop["Cabinet"])
    later = NOW + 3600
    event_recording.record(
        [NewEvent(str(uuid4()), receive(shop["Cabinet"]).code, "open", later, hic=DRY)], later
    )
    standings.refresh(later)
    check_whereabouts(later, shop.values())
    assert [one.facts.code for one in whereabouts.present(later, place=shop["Bench"])[0]] == [code]
