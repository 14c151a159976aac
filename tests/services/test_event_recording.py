"""What a person did is on the log once, whole, and what it brings with it follows."""

from __future__ import annotations

from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict, NotFound
from msdtrack.services import event_recording
from msdtrack.services.carrier_states import state, state_and_working, watch
from msdtrack.services.event_recording import NewEvent
from tests.services.conftest import NOW, receive

HOUR = 3600
DRY = {"5": "dry", "10": "dry", "60": "dry"}
CLOSED = {"desiccant": "fresh", "new_hic": "fresh", "seal": "heat"}


def event(carrier: str, kind: str, at: int | None = None, **what: object) -> NewEvent:
    return NewEvent(str(uuid4()), carrier, kind, at, **what)  # type: ignore[arg-type]


def record(*events: NewEvent) -> list[event_recording.Recorded]:
    return event_recording.record(events, NOW)


def used(code: str, at: int = NOW) -> float:
    return float(state(code, NOW, at).used_share)


def test_a_day_out_of_the_bag_is_24_of_168_hours(shop: dict[str, str]) -> None:
    reel = receive(shop["Bench"]).code
    record(event(reel, "open", NOW - 24 * HOUR, hic=DRY))
    found, working = state_and_working(reel, NOW)
    assert float(found.used_share) == pytest.approx(24 / 168)
    assert working.used_share == found.used_share
    assert found.status == "exposed"
    assert found.verdict == "use"


def test_opening_a_bag_opens_all_that_share_it(shop: dict[str, str]) -> None:
    first = receive(shop["Bench"], bag="BAG-7").code
    second = receive(shop["Bench"], bag="BAG-7").code
    alone = receive(shop["Bench"]).code
    record(event(first, "open", NOW - HOUR, hic=DRY))
    assert used(first) == used(second) > 0
    assert used(alone) == 0


def test_only_this_leaves_the_others_closed(shop: dict[str, str]) -> None:
    first = receive(shop["Bench"], bag="BAG-7").code
    second = receive(shop["Bench"], bag="BAG-7").code
    record(event(first, "open", NOW - HOUR, hic=DRY, only_this=True))
    assert used(first) > 0
    assert used(second) == 0


def test_a_correction_of_an_opening_corrects_what_it_brought(shop: dict[str, str]) -> None:
    first = receive(shop["Bench"], bag="BAG-7").code
    second = receive(shop["Bench"], bag="BAG-7").code
    opening = event(first, "open", NOW - HOUR, hic=DRY)
    record(opening)
    fix = event(first, "correct", event=opening.id, reason="clock", person="Ines")
    record(NewEvent(**{**_sent(fix), "fields": {"at": NOW - 2 * HOUR}}))
    assert used(first) == used(second) == pytest.approx(2 / 168)
    only = NewEvent(**{**_sent(fix), "id": str(uuid4()), "fields": {"only_this": True}})
    record(only)
    assert used(first) > 0
    assert used(second) == 0


def _sent(new: NewEvent) -> dict[str, object]:
    return {name: getattr(new, name) for name in new.__dataclass_fields__}


def test_what_is_closed_together_shares_a_bag(shop: dict[str, str]) -> None:
    reels = [receive(shop["Bench"]).code for _ in range(3)]
    record(*(event(reel, "open", NOW - HOUR, hic=DRY) for reel in reels))
    record(*(event(reel, "close", NOW - 1800, **CLOSED) for reel in reels[:2]))
    record(event(reels[2], "close", NOW - 1800, **CLOSED))
    bags = [state(reel, NOW).ledger.bag for reel in reels]
    assert bags[0] == bags[1] != bags[2]
    record(event(reels[1], "open", NOW - 60, hic=DRY))
    assert [state(reel, NOW).status for reel in reels] == ["exposed", "exposed", "in_dry_bag"]


def test_sending_twice_records_once(shop: dict[str, str]) -> None:
    reel = receive(shop["Bench"]).code
    opening = event(reel, "open", NOW - HOUR, hic=DRY)
    assert record(opening)[0].result == "created"
    assert record(opening)[0].result == "duplicate"
    assert record(event(reel, "hold", reason="look"), opening)[1].result == "duplicate"
    assert len(event_recording.log_of(reel)) == 2
    other = NewEvent(opening.id, reel, "open", NOW - 2 * HOUR)
    with pytest.raises(Conflict):
        record(other)


def test_a_refused_event_leaves_none_of_its_list(shop: dict[str, str]) -> None:
    reel = receive(shop["Bench"]).code
    with pytest.raises(BadInput) as refused:
        record(event(reel, "open", hic=DRY), event(reel, "move", place="P000099X"))
    assert [error.field for error in refused.value.errors] == ["1.place"]
    with pytest.raises(NotFound):
        record(event(reel, "open", hic=DRY), event("C000099X", "open"))
    assert event_recording.log_of(reel) == []


@pytest.mark.parametrize(
    ("kind", "what", "field"),
    [
        ("open", {"at": NOW + 3600}, "at"),
        ("close", {"desiccant": "fresh"}, "new_hic"),
        ("bake_start", {"temp_c": 125.0, "place": "Bench"}, "place"),
        ("split", {"quantity": 501}, "quantity"),
        ("hold", {}, "reason"),
        ("join", {}, "into"),
        ("place_on_board", {"quantity": 1}, "board"),
        ("reflow", {}, "kind"),
        ("open", {"hic": {"5": "blue"}}, "hic"),
    ],
)
def test_a_wrong_field_is_named(
    shop: dict[str, str], kind: str, what: dict[str, object], field: str
) -> None:
    reel = receive(shop["Bench"]).code
    what = {k: shop.get(v, v) if isinstance(v, str) else v for k, v in what.items()}
    at = what.pop("at", None)
    with pytest.raises(BadInput) as refused:
        record(event(reel, kind, at, **what))  # type: ignore[arg-type]
    assert field in [error.field for error in refused.value.errors]


def test_a_split_child_has_its_parents_share_and_follows_its_corrections(
    shop: dict[str, str],
) -> None:
    reel = receive(shop["Bench"]).code
    opening = event(reel, "open", NOW - 10 * HOUR, hic=DRY)
    record(opening)
    child = record(event(reel, "split", NOW - HOUR, quantity=20))[0].child
    assert child is not None
    assert used(child) == used(reel) == pytest.approx(10 / 168)
    assert state(child, NOW).ledger.quantity == 20
    assert state(reel, NOW).ledger.quantity == 480
    fix = _sent(event(reel, "correct", event=opening.id, reason="clock", person="Ines"))
    record(NewEvent(**{**fix, "fields": {"at": NOW - 20 * HOUR}}))  # type: ignore[arg-type]
    assert used(child) == pytest.approx(20 / 168)


def test_the_child_of_a_voided_split_is_gone(shop: dict[str, str]) -> None:
    reel = receive(shop["Bench"]).code
    record(event(reel, "open", NOW - 10 * HOUR, hic=DRY))
    split = event(reel, "split", NOW - HOUR, quantity=20)
    child = record(split)[0].child
    assert child is not None
    record(event(reel, "correct", event=split.id, reason="miscount", person="Ines", void=True))
    assert state(child, NOW).status == "gone"
    assert state(reel, NOW).ledger.quantity == 500


def test_a_split_told_after_a_hold_but_dated_before_it_makes_a_held_child(
    shop: dict[str, str],
) -> None:
    reel = receive(shop["Bench"]).code
    record(event(reel, "open", NOW - 10 * HOUR, hic=DRY))
    record(event(reel, "hold", NOW - 2 * HOUR, reason="cracked bodies"))
    before = record(event(reel, "split", NOW - 3 * HOUR, quantity=20))[0].child
    after = record(event(reel, "split", NOW - HOUR, quantity=20))[0].child
    assert before is not None
    assert after is not None
    assert state(before, NOW).ledger.held == state(after, NOW).ledger.held == ("cracked bodies",)
    record(event(reel, "release", NOW, reason="seen by quality", person="Ines"))
    free = record(event(reel, "split", NOW - 3 * HOUR, quantity=20))[0].child
    assert free is not None
    assert state(free, NOW).ledger.held == ()
    assert state(before, NOW).ledger.held == ("cracked bodies",)


def test_an_event_is_known_only_from_its_receipt_on(shop: dict[str, str]) -> None:
    reel = receive(shop["Bench"]).code
    record(event(reel, "open", NOW - 10 * HOUR, hic=DRY))
    assert used(reel, NOW - 5 * HOUR) == pytest.approx(5 / 168)
    known = state(reel, NOW, NOW - 5 * HOUR, known_at=NOW - 5 * HOUR)
    assert known.used_share == 0


def test_the_watch_list_has_what_is_out_most_urgent_first(shop: dict[str, str]) -> None:
    late, early, closed = (receive(shop["Bench"]).code for _ in range(3))
    record(event(late, "open", NOW - 100 * HOUR, hic=DRY))
    record(event(early, "open", NOW - HOUR, hic=DRY))
    assert [one.facts.code for one in watch(NOW)] == [late, early]
    assert watch(NOW, place=shop["Oven"]) == []
    assert closed not in [one.facts.code for one in watch(NOW)]


def test_received_open_counts_from_its_opening(shop: dict[str, str]) -> None:
    reel = receive(shop["Bench"], opened_at=NOW - 3 * HOUR).code
    found = state(reel, NOW)
    assert float(found.used_share) == pytest.approx(3 / 168)
    assert found.reasons == ("hic_missing",)


def test_without_a_seal_date_the_history_is_unknown(shop: dict[str, str]) -> None:
    found = state(receive(shop["Bench"], sealed_on=None).code, NOW)
    assert found.reasons == ("history_unknown",)
    assert found.unknowns == ("history_unknown", "no_reading_yet")[:1]
