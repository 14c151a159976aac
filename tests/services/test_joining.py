"""Joining and splicing: both sides of a join are one, and the worst of the joined counts."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, NotFound
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import catalog, event_recording
from msdtrack.services.carrier_states import state
from msdtrack.services.event_recording import NewEvent
from tests.services.conftest import NOW, receive

HOUR = 3600
DRY = {"5": "dry", "10": "dry", "60": "dry"}


def event(carrier: str, kind: str, hours_ago: float = 0, **what: object) -> NewEvent:
    at = NOW - round(hours_ago * HOUR)
    return NewEvent(str(uuid4()), carrier, kind, at, **what)  # type: ignore[arg-type]


def record(*events: NewEvent) -> list[event_recording.Recorded]:
    return event_recording.record(events, NOW)


def opened(place: str, hours_ago: float, **given: object) -> str:
    reel = receive(place, **given).code
    record(event(reel, "open", hours_ago, hic=DRY))
    return reel


def used(code: str, hours_ago: float = 0) -> float:
    return float(state(code, NOW, NOW - round(hours_ago * HOUR)).used_share)


def test_the_worst_share_and_all_pieces_go_into_the_taker(shop: dict[str, str]) -> None:
    """A splice: the reel at the feeder takes on what the reel spliced to it had used."""
    tired, fresh = opened(shop["Bench"], 84), opened(shop["Bench"], 4)
    record(event(tired, "join", 2, into=fresh))
    after = state(fresh, NOW)
    assert used(fresh, hours_ago=3) == pytest.approx(1 / 168)
    assert float(after.used_share) == pytest.approx(84 / 168)
    assert after.ledger.quantity == 1000
    gone = state(tired, NOW)
    assert (gone.status, gone.ledger.gone) == ("gone", f"joined into {fresh}")


def test_joining_a_fresher_one_gives_no_life_back(shop: dict[str, str]) -> None:
    """What had used more keeps its share when a fresh one is joined into it."""
    tired, fresh = opened(shop["Bench"], 84), opened(shop["Bench"], 4)
    record(event(fresh, "join", 2, into=tired))
    assert used(tired) == pytest.approx(84 / 168)


def test_correcting_the_giver_corrects_the_taker(shop: dict[str, str]) -> None:
    """The taker follows a correction of the giver's join, of its opening, and a striking out."""
    tired, fresh = opened(shop["Bench"], 84), opened(shop["Bench"], 4)
    join = event(tired, "join", 2, into=fresh)
    record(join)
    opening = event_recording.log_of(tired)[0].event
    fix: dict[str, Any] = {"person": "Ines", "reason": "wrong day"}
    earlier = event(tired, "correct", event=opening.id, fields={"at": NOW - 100 * HOUR}, **fix)
    record(earlier)
    assert used(fresh) == pytest.approx(100 / 168)
    record(event(tired, "correct", event=join.id, fields={"at": NOW - HOUR}, **fix))
    assert used(fresh, hours_ago=1.5) == pytest.approx(2.5 / 168)
    assert state(fresh, NOW).ledger.quantity == 1000
    record(event(tired, "correct", event=join.id, void=True, **fix))
    assert used(fresh) == pytest.approx(4 / 168)
    assert state(fresh, NOW).ledger.quantity == 500
    assert state(tired, NOW).status == "exposed"


def test_the_takers_side_is_corrected_on_the_givers_log(shop: dict[str, str]) -> None:
    """Pieces can't vanish between two logs: only the giver's entry is corrected."""
    giver, taker = opened(shop["Bench"], 2), opened(shop["Bench"], 2)
    join = event(giver, "join", 1, into=taker)
    record(join)
    brought = event_recording.log_of(taker)[-1].event
    assert (brought.cause, brought.joined, brought.into) == (join.id, giver, taker)
    with pytest.raises(BadInput, match=join.id):
        record(event(taker, "correct", event=brought.id, void=True, person="Ines", reason="slip"))
    assert state(taker, NOW).ledger.quantity == 1000


def test_only_the_same_part_number_is_joined(shop: dict[str, str]) -> None:
    """It says so, names both, and nothing is on either log."""
    catalog.create_part(PartFacts("CO-0202", "3", body_mm=1.4), NOW)
    giver, other = opened(shop["Bench"], 2), opened(shop["Bench"], 2, part="CO-0202")
    with pytest.raises(BadInput, match=r"BL-0101.*CO-0202.*same part number") as caught:
        record(event(giver, "join", into=other))
    assert [one.field for one in caught.value.errors] == ["into"]
    assert len(event_recording.log_of(giver)) == len(event_recording.log_of(other)) == 1


def test_labels_that_differ_are_kept_apart(shop: dict[str, str]) -> None:
    """The taker's level would count for pieces whose own label says a stricter one."""
    stricter, other = opened(shop["Bench"], 2, msl="4"), opened(shop["Bench"], 2)
    with pytest.raises(BadInput, match="keep them apart"):
        record(event(stricter, "join", into=other))


@pytest.mark.parametrize("into", ["C000999X", None])
def test_the_taker_must_exist(shop: dict[str, str], into: str | None) -> None:
    """A join names the carrier it goes into."""
    with pytest.raises(BadInput) as caught:
        record(event(opened(shop["Bench"], 1), "join", into=into))
    assert [one.field for one in caught.value.errors] == ["into"]


def test_nothing_is_joined_into_itself(shop: dict[str, str]) -> None:
    """It would be gone and there at once."""
    reel = opened(shop["Bench"], 1)
    with pytest.raises(BadInput, match="itself"):
        record(event(reel, "join", into=reel))


def test_a_join_out_of_a_closed_bag_is_a_conflict_for_both(shop: dict[str, str]) -> None:
    """It is stored, counts as open since last known closed, and must be corrected."""
    closed, taker = receive(shop["Bench"]).code, opened(shop["Bench"], 2)
    record(event(closed, "join", 1, into=taker))
    after = state(taker, NOW)
    assert "history_conflict" in after.reasons
    assert float(after.used_share) == pytest.approx(1)


def test_pieces_split_off_come_back_with_the_worst_share(shop: dict[str, str]) -> None:
    """A child that lay in the open goes back onto its parent."""
    parent = opened(shop["Bench"], 24)
    (split,) = record(event(parent, "split", 20, quantity=50))
    assert split.child is not None
    record(event(parent, "move", 20, place=shop["Cabinet"]))
    record(event(split.child, "join", 2, into=parent))
    assert state(parent, NOW).ledger.quantity == 500
    assert used(parent) >= used(split.child, hours_ago=2)


def test_a_chain_of_joins_carries_the_worst_along(shop: dict[str, str]) -> None:
    """Joined into one that is joined on: the last has the worst of all."""
    first, second, third = (opened(shop["Bench"], hours) for hours in (50, 10, 5))
    record(event(first, "join", 4, into=second), event(second, "join", 2, into=third))
    assert used(third) == pytest.approx(50 / 168)
    assert state(third, NOW).ledger.quantity == 1500


def test_sent_twice_it_is_joined_once(shop: dict[str, str]) -> None:
    """The same id with the same content changes nothing."""
    giver, taker = opened(shop["Bench"], 2), opened(shop["Bench"], 2)
    join = event(giver, "join", 1, into=taker)
    assert [record(join)[0].result, record(join)[0].result] == ["created", "duplicate"]
    assert state(taker, NOW).ledger.quantity == 1000


def test_an_unknown_giver_is_not_found(shop: dict[str, str]) -> None:
    """As for every event."""
    with pytest.raises(NotFound):
        record(event("C000999X", "join", into=opened(shop["Bench"], 1)))
