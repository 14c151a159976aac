"""A reflow of boards on hold contradicts their log, until quality releases them or the log is put
right."""

from __future__ import annotations

from typing import Any

import pytest

from msdtrack.errors import Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import boards, catalog, event_recording
from msdtrack.services.board_conflicts import conflicts_of
from tests.services.board_floor import FIX, HOUR, event, happens, now, opened, placed
from tests.services.conftest import NOW

MESSAGE = "it was reflowed while on hold"


@pytest.fixture
def held(shop: dict[str, str], batch: str) -> str:
    """Two components of two carriers, on hold since two hours ago; return the id of the hold."""
    catalog.create_part(PartFacts("BL-0203", "3", body_mm=1.4), NOW)
    for part in ("BL-0101", "BL-0203"):
        placed(batch, opened(shop["Bench"], 5, part=part), 4)
    hold = event("", "hold", 2, reason="tombstones", person="Ines")
    boards.record(batch, hold, NOW)
    return hold.id


def reflowed(batch: str, hours_ago: float = 1, **what: Any) -> str:
    """Record a reflow as a program does, and return its id."""
    new = event("", "reflow", hours_ago, peak_c=240.0, **what)
    assert boards.record(batch, new, NOW).result == "created"
    return new.id


def told(batch: str) -> list[tuple[str, int, str]]:
    """What contradicts: event, moment and words."""
    return [(one.event_id, one.at, one.message) for one in conflicts_of(now(batch))]


def test_a_reflow_while_on_hold_is_kept_and_told_once(batch: str, held: str) -> None:
    """On the log of both components; the boards name the event that was sent."""
    reflow = reflowed(batch)
    state = now(batch)
    assert (state.passes, state.verdict) == (1, "do_not_use")
    assert state.reasons == ("held", "history_conflict")
    assert state.next_step.text == "Hold for quality: tombstones."
    assert told(batch) == [(reflow, NOW - HOUR, MESSAGE)]
    assert all(len(one.state.conflicts) == 1 for one in state.placements)
    assert conflicts_of(state)[0].against_a_hold
    assert now(batch, 1.5).reasons == ("held",)


def test_a_release_settles_it(batch: str, held: str) -> None:
    """Quality decides knowing of it; what comes after is in order."""
    reflowed(batch)
    free = happens(batch, "release", 0.5, reason="looked at under the microscope", person="Ines")
    assert (free.verdict, free.reasons, told(batch)) == ("use", (), [])
    reflowed(batch, 0.2)
    assert told(batch) == []


@pytest.mark.parametrize("mended", ["its time", "it never was", "the hold never was"])
def test_a_correction_settles_it(batch: str, held: str, mended: str) -> None:
    """The reflow was before the hold, or did not happen; or nobody held these boards."""
    reflow = reflowed(batch)
    given: dict[str, Any] = {
        "its time": {"event": reflow, "fields": {"at": NOW - 3 * HOUR}},
        "it never was": {"event": reflow, "void": True},
        "the hold never was": {"event": held, "void": True},
    }[mended]
    state = happens(batch, "correct", **given, **FIX)
    assert told(batch) == []
    assert "history_conflict" not in state.reasons
    assert ("held" in state.reasons) == (mended != "the hold never was")


def test_a_hold_that_is_told_late_contradicts_the_reflow_after_it(
    shop: dict[str, str], batch: str
) -> None:
    """It is the reflow that should not have been, whatever came first to the log."""
    placed(batch, opened(shop["Bench"], 5), 4)
    reflow = reflowed(batch)
    assert now(batch).verdict == "use"
    happens(batch, "hold", 2, reason="tombstones")
    assert told(batch) == [(reflow, NOW - HOUR, MESSAGE)]


def test_a_last_reflow_while_on_hold_is_told_and_settled_afterwards(batch: str, held: str) -> None:
    """Soldered they stay; the release that comes then settles it."""
    reflow = reflowed(batch, last=True)
    state = now(batch)
    assert (state.status, state.verdict) == ("finished", "do_not_use")
    assert told(batch) == [(reflow, NOW - HOUR, MESSAGE)]
    freed = happens(batch, "release", 0.5, reason="good after all", person="Ines")
    assert (freed.status, freed.reasons, told(batch)) == ("finished", (), [])


def test_the_screen_refuses_it_with_the_way_out(batch: str, held: str) -> None:
    """Nothing is written; after the release it is done."""
    new = event("", "reflow", 1, peak_c=240.0)
    with pytest.raises(Refused, match=r"on hold: tombstones\. They pass no reflow until quality"):
        boards.record(batch, new, NOW, refuse_conflicts=True)
    assert now(batch).passes == 0
    happens(batch, "release", 1.5, reason="looked at")
    assert boards.record(batch, new, NOW, refuse_conflicts=True).state.passes == 1


def test_the_screen_refuses_it_also_where_only_one_component_is_held(
    shop: dict[str, str], batch: str
) -> None:
    """Placed first was a free one; the hold came with the carrier of the second."""
    placed(batch, opened(shop["Bench"], 5), 4)
    reel = opened(shop["Bench"], 5)
    event_recording.record([event(reel, "hold", 4, reason="dropped")], NOW)
    placed(batch, reel, 3)
    with pytest.raises(Refused, match="on hold: dropped"):
        boards.record(batch, event("", "reflow", 1), NOW, refuse_conflicts=True)
    reflow = reflowed(batch)
    assert [message for _, _, message in told(batch)] == [
        "it was placed on a board while on hold",
        MESSAGE,
    ]
    assert told(batch)[1][0] == reflow
    happens(batch, "release", 0.5, reason="leads are straight")
    assert told(batch) == []
