"""The carriers that are there: the same as by folding every one there ever was."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

from hypothesis import given, settings
from hypothesis import strategies as st

from msdtrack.exposure.state import CarrierState
from msdtrack.services import carrier_states, event_recording, whereabouts
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import carriers
from tests.services.conftest import NOW, receive
from tests.services.floor import PARTS, Floor
from tests.services.test_standings import RANDOM, copy_of, empty

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
