"""The watch list of a past moment is the one from folding every carrier there ever was."""

from __future__ import annotations

from pathlib import Path
from uuid import uuid4

from hypothesis import given, settings
from hypothesis import strategies as st

from msdtrack.services import carrier_states, event_recording
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import concerned
from tests.services.conftest import NOW, receive
from tests.services.floor import DRY, HOUR, T0, Floor
from tests.services.test_standings import RANDOM, copy_of, empty

__all__ = ["empty"]


@settings(RANDOM, max_examples=80)
@given(data=st.data())
def test_any_history_gives_the_same_list_of_any_moment(
    empty: Path,
    data: st.DataObject,
) -> None:
    """Whatever was known by then: late events, corrections of times, what was struck out."""
    with copy_of(empty):
        floor = Floor(data.draw)
        for _ in range(data.draw(st.integers(5, 30))):
            floor.step()
        moments = st.integers(T0 - HOUR, floor.now + HOUR)
        for _ in range(5):
            at = data.draw(moments)
            known_at = data.draw(st.none() | moments)
            place = data.draw(st.none() | st.sampled_from(list(floor.places.values())))
            plain = carrier_states.watch_by_folding(at, place, known_at)
            assert carrier_states.watch_at(at, place, known_at) == plain


def test_what_was_used_up_or_is_untouched_is_not_folded(shop: dict[str, str]) -> None:
    """Two hundred thousand carriers of the past would take half a minute."""
    untouched, used_up, out, opened_later = (receive(shop["Bench"]).code for _ in range(4))
    events = [
        NewEvent(str(uuid4()), used_up, "open", NOW - 3 * HOUR, hic=DRY),
        NewEvent(str(uuid4()), used_up, "scrap", NOW - 2 * HOUR, reason="dropped"),
        NewEvent(str(uuid4()), out, "open", NOW - 3 * HOUR, hic=DRY),
        NewEvent(str(uuid4()), opened_later, "open", NOW - HOUR, hic=DRY),
    ]
    event_recording.record(events, NOW)
    assert concerned.perhaps_out_at(NOW - 90 * 60) == [out]
    assert concerned.perhaps_out_at(NOW - 150 * 60) == sorted([out, used_up])
    assert concerned.perhaps_out_at(NOW) == sorted([out, opened_later])
    assert concerned.perhaps_out_at(NOW, known_at=NOW - 1) == []
    struck_out = {"event": events[1].id, "void": True, "reason": "another", "person": "Ines"}
    event_recording.record([NewEvent(str(uuid4()), used_up, "correct", **struck_out)], NOW)
    assert used_up in concerned.perhaps_out_at(NOW - 90 * 60)
    assert untouched not in concerned.perhaps_out_at(NOW)
