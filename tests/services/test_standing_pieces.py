"""What concerns many is drawn in pieces: others get in between, and nothing is lost by a break."""

from __future__ import annotations

import gc
import itertools
from unittest import mock
from uuid import uuid4

import pytest

from msdtrack.services import event_recording, standings, watch_list
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import standings as table
from msdtrack.times import utc_text
from tests.services.conftest import NOW, receive
from tests.services.floor import DRY
from tests.services.test_standings import check, opened_reel, readings


def test_what_concerns_many_is_drawn_when_it_is_asked_for(
    shop: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The late readings are received at once; who asks for a place draws only what is there."""
    readings(shop["Bench"], *range(-90, 1, 5))
    readings(shop["Cabinet"], *range(-90, 1, 5))
    bench = [opened_reel(shop["Bench"]) for _ in range(5)]
    cabinet = [opened_reel(shop["Cabinet"]) for _ in range(5)]
    standings.rebuild(NOW + 1)
    monkeypatch.setattr(standings, "PIECE", 2)
    readings(shop["Bench"], -32, air=(29.0, 65.0))
    readings(shop["Cabinet"], -32, air=(29.0, 65.0))
    assert sorted(table.stale(NOW + 1)) == sorted(bench + cabinet)
    assert len(watch_list.lines(NOW + 1, shop["Bench"])) == 5
    assert sorted(table.stale(NOW + 1)) == sorted(cabinet)
    check(NOW + 1, [])
    assert table.stale(NOW + 1) == []


def test_a_rebuild_that_was_cut_off_is_carried_on(
    shop: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    codes = [opened_reel(shop["Bench"]) for _ in range(5)]
    monkeypatch.setattr(standings, "PIECE", 2)
    pauses = []

    def cut_off(_: float) -> None:
        pauses.append(len(table.stale(NOW)))
        if len(pauses) == 2:
            raise KeyboardInterrupt

    with mock.patch.object(standings.time, "sleep", cut_off), pytest.raises(KeyboardInterrupt):
        standings.rebuild(NOW)
    assert pauses == [3, 1]
    assert len(table.stale(NOW)) == 1
    assert sorted(one.code for one in watch_list.lines(NOW)) == sorted(codes)
    check(NOW, [])


def test_circles_of_objects_are_looked_for_again_after_a_piece(shop: dict[str, str]) -> None:
    """Also after one that failed."""
    opened_reel(shop["Bench"])
    seen = []

    def fail(*_: object) -> None:
        seen.append(gc.isenabled())
        raise KeyboardInterrupt

    with mock.patch.object(standings.Drawing, "fold", fail), pytest.raises(KeyboardInterrupt):
        standings.rebuild(NOW)
    assert (seen, gc.isenabled()) == ([False], True)
    assert standings.rebuild(NOW) == 1
    assert gc.isenabled()


@pytest.mark.parametrize(("waited_s", "pieces"), [(0.0, 1), (1.0, 3)])
def test_less_is_drawn_at_a_time_while_others_write(
    shop: dict[str, str], monkeypatch: pytest.MonkeyPatch, waited_s: float, pieces: int
) -> None:
    """They show by the lock that had to be waited for."""
    for _ in range(5):
        opened_reel(shop["Bench"])
    moments = itertools.count(step=waited_s)
    monkeypatch.setattr(standings.time, "monotonic", lambda: next(moments))
    monkeypatch.setattr(standings, "SMALL_PIECE", 2)
    with mock.patch.object(standings, "Drawing", wraps=standings.Drawing) as drawn:
        assert standings.rebuild(NOW) == 5
    assert drawn.call_count == pieces


def test_an_opening_while_all_is_drawn_anew(
    shop: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between two pieces a scan is written, later than the moment that was asked about."""
    for _ in range(5):
        opened_reel(shop["Bench"])
    monkeypatch.setattr(standings, "PIECE", 2)
    new = receive(shop["Bench"]).code
    events = [NewEvent(str(uuid4()), new, "open", NOW + 7, hic=DRY)]

    def scan(_: float) -> None:
        if events:
            event_recording.record([events.pop()], NOW + 7)

    monkeypatch.setattr(standings.time, "sleep", scan)
    table_of = watch_list.lines(NOW)
    assert {one.answer["at"] for one in table_of} == {utc_text(NOW + 7)}
    assert new in {one.code for one in table_of}
    assert table.stale(NOW + 7) == []
    check(NOW + 7, [])


def test_what_was_moved_by_a_correction_of_many_is_found_where_it_is(
    shop: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who asks for that place first does not depend on anyone else's asking."""
    code = opened_reel(shop["Bench"])
    move = NewEvent(str(uuid4()), code, "move", NOW - 60, place=shop["Cabinet"])
    split = NewEvent(str(uuid4()), code, "split", NOW, quantity=10)
    *_, made = event_recording.record([move, split], NOW)
    standings.rebuild(NOW)
    monkeypatch.setattr(standings, "PIECE", 1)
    back = {
        "reason": "misread",
        "station": "S1",
        "event": move.id,
        "fields": {"place": shop["Bench"]},
    }
    event_recording.record([NewEvent(str(uuid4()), code, "correct", **back)], NOW)
    assert {one.code for one in watch_list.lines(NOW, shop["Bench"])} == {code, made.child}
