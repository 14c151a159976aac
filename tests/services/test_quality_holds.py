"""What holds a carrier is known: who, when, why. A release by name ends it and settles it."""

from __future__ import annotations

from datetime import UTC
from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict, Refused
from msdtrack.exposure.events import Kind
from msdtrack.exposure.facts import PartFacts
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import make_action_code
from msdtrack.services import (
    boards,
    carrier_states,
    catalog,
    event_recording,
    people,
    quality_holds,
    scanning,
)
from msdtrack.services.quality_holds import Hold, QualityHold, hold_of
from msdtrack.services.scanning import NewScan
from tests.services.board_floor import DRY, HOUR, event, placed
from tests.services.board_floor import opened as opened_reel
from tests.services.conftest import NOW, receive

FRESH = {"desiccant": "fresh", "new_hic": "fresh", "seal": "heat"}
CARD_GONE = {"5": "missing", "10": "missing", "60": "missing"}


def does(carrier: str, kind: str, hours_ago: float, **what: object) -> str:
    """Record an event, and return its id."""
    new = event(carrier, kind, hours_ago, **what)
    event_recording.record([new], NOW)
    return new.id


def state(carrier: str) -> CarrierState:
    """The carrier as it is now."""
    return carrier_states.state(carrier, NOW)


def hold(carrier: str) -> QualityHold:
    """What it is held for."""
    found = hold_of(state(carrier))
    assert found is not None
    return found


@pytest.fixture
def reel(shop: dict[str, str]) -> str:
    """A reel opened five hours ago that nothing is wrong with."""
    return opened_reel(shop["Bench"], 5)


def test_what_is_not_on_hold_has_nothing(reel: str) -> None:
    """Nor has it after a release, nor once it is gone."""
    assert hold_of(state(reel)) is None
    does(reel, "hold", 4, reason="bent leads")
    does(reel, "release", 3, reason="straight again")
    assert hold_of(state(reel)) is None
    does(reel, "hold", 2, reason="bent leads")
    does(reel, "scrap", 1)
    assert hold_of(state(reel)) is None


def test_every_hold_that_stands_is_told(reel: str) -> None:
    """With its moment and its person, in order; a hold that was released before is not."""
    ines = people.add_person("Ines", NOW).code
    does(reel, "hold", 4.5, reason="dust", person=ines)
    does(reel, "release", 4.2, reason="blown off")
    does(reel, "hold", 4, reason="bent leads", person=ines)
    does(reel, "hold", 3, reason="dust")
    assert hold(reel) == QualityHold(
        (Hold("bent leads", NOW - 4 * HOUR, ines), Hold("dust", NOW - 3 * HOUR, None)),
        card_missing=False,
        batch=None,
        check=None,
        settles=frozenset(),
    )


def test_a_split_off_carrier_has_the_hold_of_the_one_it_came_from(reel: str) -> None:
    """A release of its own ends it there only, and settles what was before the split."""
    does(reel, "hold", 4, reason="bent leads")
    loaded = does(reel, "load", 3)
    split = event(reel, "split", 2, quantity=100)
    child = event_recording.record([split], NOW)[0].child
    assert child is not None
    assert hold(child).holds == hold(reel).holds == (Hold("bent leads", NOW - 4 * HOUR, None),)
    assert hold(child).settles == {loaded}
    free = quality_holds.release(child, str(uuid4()), "Ines", "sorted out", NOW)
    assert (free.verdict, free.conflicts) == ("use", ())
    assert hold(reel).settles == {loaded}


def test_what_a_release_settles_is_what_it_settles(shop: dict[str, str], reel: str) -> None:
    """Of two contradictions that of the hold ends with it; the other stays for a correction."""
    does(reel, "hold", 4, reason="bent leads")
    loaded = does(reel, "load", 3)
    again = does(reel, "open", 2)
    assert [one.event_id for one in state(reel).conflicts] == [loaded, again]
    assert hold(reel).settles == {loaded}
    after = quality_holds.release(reel, str(uuid4()), "Ines", "leads are straight", NOW)
    assert [one.event_id for one in after.conflicts] == [again]
    assert after.ledger.held == ()


def test_what_was_joined_in_stays_to_be_corrected(shop: dict[str, str], reel: str) -> None:
    """Its contradiction stands on its own log, where no release comes after the joining."""
    other = opened_reel(shop["Bench"], 5)
    does(other, "hold", 4, reason="dropped")
    loaded = does(other, "load", 3)
    does(other, "join", 2, into=reel)
    found = hold(reel)
    assert found.holds == (Hold("dropped", None, None),)
    assert found.settles == frozenset()
    after = quality_holds.release(reel, str(uuid4()), "Ines", "leads are straight", NOW)
    assert [one.event_id for one in after.conflicts] == [loaded]


def test_a_missing_card_is_told_beside_a_hold(shop: dict[str, str]) -> None:
    """For whoever releases settles both."""
    reel = receive(shop["Bench"]).code
    does(reel, "open", 5, hic=CARD_GONE)
    does(reel, "hold", 4, reason="bent leads")
    assert hold(reel).card_missing
    assert hold(reel).holds == (Hold("bent leads", NOW - 4 * HOUR, None),)
    assert quality_holds.release(reel, str(uuid4()), "Ines", "dry", NOW).verdict == "use"


@pytest.mark.parametrize("hic", [CARD_GONE, {}, {"5": "dry", "60": "dry"}, None])
def test_a_missing_card_alone_is_released(shop: dict[str, str], hic: dict[str, str] | None) -> None:
    """By name and with a reason, which stand on the log; once only."""
    reel = receive(shop["Bench"]).code
    does(reel, "open", 5, hic=hic)
    assert state(reel).reasons == ("hic_missing",)
    assert hold(reel) == QualityHold((), True, None, None, frozenset())
    with pytest.raises(BadInput):
        quality_holds.release(reel, str(uuid4()), "Ines", " ", NOW)
    with pytest.raises(BadInput):
        quality_holds.release(reel, str(uuid4()), "", "weighed: dry", NOW)
    assert state(reel).reasons == ("hic_missing",)
    id_ = str(uuid4())
    after = quality_holds.release(reel, id_, "Ines", "weighed: dry", NOW)
    assert (after.verdict, after.reasons) == ("use", ())
    assert quality_holds.release(reel, id_, "Ines", "weighed: dry", NOW) == after
    released = event_recording.log_of(reel)[-1].event
    assert (released.kind, released.reason) == (Kind.RELEASE, "weighed: dry")
    assert people.person(released.person or "").name == "Ines"
    assert hold_of(state(reel)) is None
    with pytest.raises(Refused, match="not on hold any more: nothing was released"):
        quality_holds.release(reel, str(uuid4()), "Ines", "weighed: dry", NOW)


def test_a_card_read_meanwhile_is_not_released(shop: dict[str, str]) -> None:
    """It turned out humid: what is needed then is a bake, and no release is on the log."""
    reel = receive(shop["Bench"]).code
    opening = does(reel, "open", 5)
    assert hold(reel).card_missing
    humid = {"5": "humid", "10": "humid", "60": "dry"}
    does(reel, "correct", 0, event=opening, reason="read late", person="Ines",
         fields={"hic": humid})  # fmt: skip
    assert hold_of(state(reel)) is None
    with pytest.raises(Refused):
        quality_holds.release(reel, str(uuid4()), "Ines", "dry", NOW)
    assert "hic_failed" in state(reel).reasons


def test_a_part_of_level_1_needs_no_card(shop: dict[str, str]) -> None:
    """So nothing is missing, and a carrier that is gone lacks nothing either."""
    catalog.create_part(PartFacts("BL-0001", "1", body_mm=1.0), NOW)
    reel = receive(shop["Bench"], part="BL-0001").code
    does(reel, "open", 5)
    assert (state(reel).verdict, hold_of(state(reel))) == ("use", None)
    other = receive(shop["Bench"]).code
    does(other, "open", 5)
    does(other, "scrap", 4)
    assert hold_of(state(other)) is None


def test_a_missing_card_of_what_is_on_boards_is_released_with_them(
    shop: dict[str, str], batch: str
) -> None:
    """As a hold is."""
    reel = receive(shop["Bench"]).code
    does(reel, "open", 5)
    child = placed(batch, reel, 4)
    assert hold(child) == QualityHold((), True, batch, None, frozenset())
    with pytest.raises(Refused, match=f"open the page of {batch}"):
        quality_holds.release(child, str(uuid4()), "Ines", "weighed: dry", NOW)
    boards.record(batch, event("", "release", 1, person="Ines", reason="weighed: dry"), NOW)
    assert hold_of(state(child)) is None
    assert hold(reel).card_missing


@pytest.mark.parametrize(
    ("events", "stands"),
    [
        ([("open", {"hic": DRY})], False),
        ([("open", {"hic": CARD_GONE})], True),
        ([("open", {})], True),
        ([("open", {}), ("release", {"reason": "weighed"})], False),
        ([("hold", {"reason": "torn"})], True),
        ([("hold", {"reason": "torn"}), ("open", {})], True),
        ([("open", {}), ("close", FRESH)], True),
        ([("open", {}), ("scrap", {})], False),
    ],
)
def test_the_station_and_the_page_release_the_same(
    shop: dict[str, str], events: list[tuple[str, dict[str, object]]], stands: bool
) -> None:
    """What the one takes the other takes, and both leave the carrier the same."""
    on_page, at_station = receive(shop["Bench"]).code, receive(shop["Bench"]).code
    for reel in (on_page, at_station):
        for number, (kind, what) in enumerate(events):
            does(reel, kind, 5 - number, **what)
    scanned = [people.add_person("Ines", NOW).code, at_station, make_action_code("RELEASE")]
    answers = [scanning.scan(NewScan(str(uuid4()), "Bench", code), NOW, UTC) for code in scanned]
    assert answers[-1].title == ("Released" if stands else answers[-1].title)
    assert (answers[-1].tone == "ok") is stands
    assert (hold_of(state(on_page)) is not None) is stands
    if stands:
        quality_holds.release(on_page, str(uuid4()), "Ines", "weighed: dry", NOW)
    else:
        with pytest.raises(Refused):
            quality_holds.release(on_page, str(uuid4()), "Ines", "weighed: dry", NOW)
    one, other = state(on_page), state(at_station)
    assert (one.verdict, one.reasons, one.ledger.held) == (
        other.verdict,
        other.reasons,
        other.ledger.held,
    )


def test_pieces_on_boards_are_released_with_the_boards(shop: dict[str, str], batch: str) -> None:
    """The refusal says where; nothing is written."""
    placed(batch, opened_reel(shop["Bench"], 5), 4)
    boards.record(batch, event("", "hold", 2, reason="tombstones"), NOW)
    reflow = event("", "reflow", 1, peak_c=240.0)
    boards.record(batch, reflow, NOW)
    (one,) = boards.batch_state(batch, NOW).placements
    assert (hold(one.placed.code).batch, hold(one.placed.code).settles) == (batch, {reflow.id})
    with pytest.raises(Refused, match=f"open the page of {batch} and release them all"):
        quality_holds.release(one.placed.code, str(uuid4()), "Ines", "good", NOW)
    assert state(one.placed.code).ledger.held == ("tombstones",)


def test_a_reason_that_names_no_check_that_holds_it_is_a_reason_like_others(reel: str) -> None:
    """Somebody may write such words by hand: the release is at hand all the same."""
    does(reel, "hold", 4, reason="sample check 77: words of somebody")
    assert hold(reel).check is None
    assert quality_holds.release(reel, str(uuid4()), "Ines", "good", NOW).verdict == "use"


def test_sent_again_it_is_done_once(reel: str) -> None:
    """The same answer; with other words it is a conflict; and once free it says so."""
    does(reel, "hold", 4, reason="bent leads")
    id_ = str(uuid4())
    first = quality_holds.release(reel, id_, "Ines", "straight", NOW)
    assert quality_holds.release(reel, id_, "Ines", "straight", NOW) == first
    kinds = [line.event.kind for line in event_recording.log_of(reel)]
    assert kinds == [Kind.OPEN, Kind.HOLD, Kind.RELEASE]
    with pytest.raises(Conflict):
        quality_holds.release(reel, id_, "Ines", "bent", NOW)
    with pytest.raises(Refused, match="not on hold any more"):
        quality_holds.release(reel, str(uuid4()), "Ines", "straight", NOW)


@pytest.mark.parametrize(("person", "reason"), [("", "good"), ("Ines", " "), ("W0000027", "good")])
def test_a_release_needs_a_name_and_a_reason(reel: str, person: str, reason: str) -> None:
    """Otherwise nothing is written, no new person either."""
    does(reel, "hold", 4, reason="bent leads")
    with pytest.raises(BadInput):
        quality_holds.release(reel, str(uuid4()), person, reason, NOW)
    assert state(reel).ledger.held == ("bent leads",)
    assert people.people() == []
