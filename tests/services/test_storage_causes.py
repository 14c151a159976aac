"""Alarms about what rests: shelf lives, bakes that are done, resets, cabinets that fail."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import alarm_rules, catalog, policies
from msdtrack.store import alarm_candidates, carriers
from msdtrack.store.connection import write
from tests.services.alarm_floor import DAY, DRY, HOUR, MIN, T0, open_reel, record, send, stands
from tests.services.conftest import NOW, receive

TODAY = date(2026, 9, 21)
"""The day of NOW."""


@pytest.fixture
def place(shop: dict[str, str]) -> dict[str, str]:
    """The shop with a second part, of level 4."""
    catalog.create_part(PartFacts("BL-0400", "4", body_mm=1.4, carrier_max_c=150), NOW)
    return shop


def test_shelf_life_is_told_thirty_days_ahead_and_when_it_is_over(place: dict[str, str]) -> None:
    """12 months from the seal date: low 30 days before, medium on the day after; opening the bag
    ends it.

    Source: J-STD-033, shelf life 12 months from the seal date; 30 days: site practice.
    """
    code = receive(place["Bench"], sealed_on=TODAY - timedelta(days=334)).code
    alarm_rules.evaluate(NOW)
    assert stands("shelf_life_low") == [], "31 days are left"
    alarm_rules.evaluate(NOW + DAY)
    (low,) = stands("shelf_life_low")
    assert (low.cause, low.priority) == (f"shelf_life_low:{code}", "low")
    assert "ends on 22 Oct 2026" in low.message
    assert alarm_rules.evaluate(NOW + 31 * DAY) == 0, "its last day"
    alarm_rules.evaluate(NOW + 32 * DAY)
    assert stands("shelf_life_low") == []
    (over,) = stands("shelf_life_over")
    assert (over.priority, over.carrier) == ("medium", code)
    assert "humidity indicator card" in over.message
    record(code, "open", NOW + 32 * DAY + HOUR, hic=DRY)
    alarm_rules.evaluate(NOW + 32 * DAY + HOUR)
    assert stands("shelf_life_over") == []


def test_the_lead_of_a_shelf_life_is_the_sites(place: dict[str, str]) -> None:
    """A stated end counts before the seal date; level 1 has no shelf life; 0 days is the end."""
    catalog.create_part(PartFacts("BL-0001", "1"), NOW)
    receive(place["Bench"], part="BL-0001", shelf_life_ends=TODAY)
    code = receive(place["Bench"], shelf_life_ends=TODAY + timedelta(days=50)).code
    alarm_rules.evaluate(NOW)
    assert stands("shelf_life_low") == []
    policies.set_policy("shelf_life_lead_d", 50, NOW, "Ines", "long deliveries")
    alarm_rules.evaluate(NOW + 1)
    assert [alarm.carrier for alarm in stands("shelf_life_low")] == [code]
    policies.set_policy("shelf_life_lead_d", 0, NOW + 2, "Ines", "short deliveries")
    alarm_rules.evaluate(NOW + 2)
    assert stands("shelf_life_low") == []


def test_a_shelf_life_that_began_anew_is_told_at_its_own_end(place: dict[str, str]) -> None:
    """Closed with a heat seal, fresh desiccant and card: 12 months from then; what is used up or
    was split off counts as what it is."""
    resealed = open_reel(place["Bench"], shelf_life_ends=TODAY + timedelta(days=700))
    record(resealed, "close", T0 + HOUR, desiccant="fresh", new_hic="fresh", seal="heat")
    gone = open_reel(place["Bench"], shelf_life_ends=TODAY)
    record(gone, "scrap", T0 + HOUR, person="Ines")
    bagless = receive(place["Bench"], shelf_life_ends=TODAY).code
    record(bagless, "scrap", T0 + HOUR, person="Ines")
    year = T0 + 365 * DAY
    alarm_rules.evaluate(year - 31 * DAY)
    assert stands("shelf_life_low") == []
    alarm_rules.evaluate(year - 30 * DAY)
    assert [alarm.carrier for alarm in stands("shelf_life_low")] == [resealed]


def test_who_may_be_old_is_found_without_folding_those_long_gone(place: dict[str, str]) -> None:
    """The query gives what is alive and near its end, by its own or its ancestor's dates."""
    near = receive(place["Bench"], shelf_life_ends=TODAY).code
    fresh = receive(place["Bench"]).code
    gone = receive(place["Bench"], shelf_life_ends=TODAY).code
    record(gone, "scrap", T0, person="Ines")
    parent = open_reel(place["Bench"])
    record(parent, "split", T0 + HOUR, quantity=100)
    (child,) = set(carriers.carrier_codes()) - {near, fresh, gone, parent}
    with write():
        carriers.update_carrier(
            parent, {"shelf_life_ends": TODAY}, reason="label read wrong", recorded_at=NOW
        )
    alarm_rules.evaluate(NOW)
    found = alarm_candidates.ageing(TODAY, TODAY - timedelta(days=365), NOW - 365 * DAY)
    assert sorted(found) == sorted([near, parent, child])
    assert [alarm.carrier for alarm in stands("shelf_life_low")] == [near]


def test_a_bake_that_is_done_is_to_be_taken_out(place: dict[str, str]) -> None:
    """One alarm for a load at its hours, another an hour later; none once it is out.

    Source: J-STD-033, Table 4-1: level 4, up to 1.4 mm, floor life exceeded by less than 72 h:
    7 h at 125 °C (published in an early edition).
    """
    trays = [open_reel(place["Bench"], T0, part="BL-0400", kind="tray") for _ in range(2)]
    start = T0 + 80 * HOUR
    for tray in trays:
        record(tray, "bake_start", start, place=place["Oven"], temp_c=125)
    alarm_rules.evaluate(start + 7 * HOUR - 1)
    assert stands("bake_done") == []
    alarm_rules.evaluate(start + 7 * HOUR)
    (done,) = stands("bake_done")
    assert (done.place, done.carrier, done.priority) == (place["Oven"], None, "low")
    assert all(tray in done.message for tray in trays)
    record(trays[0], "bake_end", start + 7 * HOUR + MIN, place=place["Bench"])
    alarm_rules.evaluate(start + 8 * HOUR + MIN)
    assert stands("bake_done") == []
    (overdue,) = stands("bake_overdue")
    assert (overdue.carrier, overdue.priority) == (trays[1], "medium")
    assert trays[0] not in overdue.message
    record(trays[1], "bake_end", start + 8 * HOUR + 2 * MIN, place=place["Bench"])
    alarm_rules.evaluate(start + 8 * HOUR + 2 * MIN)
    assert stands("bake_overdue") == []
    assert stands("reset_reached") == [], "a bake is no dry storage"


def test_a_reset_by_dry_storage_is_told_for_a_day(place: dict[str, str]) -> None:
    """Level 3, 1 h out, 5 h dry; low; it returns to normal by itself after 24 h.

    Source: J-STD-033, Table 4-3: at most 12 h exposed, then 5 times as long at 10 % RH or less.
    """
    send(place["Cabinet"], T0, T0 + 40 * HOUR, 24, 3, step=20 * MIN)
    reel = open_reel(place["Bench"])
    record(reel, "move", T0 + HOUR, place=place["Cabinet"])
    alarm_rules.evaluate(T0 + 6 * HOUR - MIN)
    assert stands("reset_reached") == []
    alarm_rules.evaluate(T0 + 6 * HOUR)
    (told,) = stands("reset_reached")
    assert (told.carrier, told.priority) == (reel, "low")
    assert alarm_rules.evaluate(T0 + 30 * HOUR - 1) == 0
    alarm_rules.evaluate(T0 + 30 * HOUR)
    assert stands("reset_reached") == []


def test_what_was_exposed_after_its_reset_is_not_called_whole(place: dict[str, str]) -> None:
    """A bag that is opened again ends it, and closing that bag does not raise it again."""
    send(place["Bench"], T0, T0 + 8 * HOUR, 24, 40, step=20 * MIN)
    reel = open_reel(place["Bench"])
    heat = {"desiccant": "fresh", "new_hic": "fresh", "seal": "heat"}
    record(reel, "close", T0 + 10 * MIN, **heat)
    alarm_rules.evaluate(T0 + 2 * HOUR)
    assert [alarm.carrier for alarm in stands("reset_reached")] == [reel]
    record(reel, "open", T0 + 3 * HOUR, hic=DRY)
    alarm_rules.evaluate(T0 + 3 * HOUR + MIN)
    assert stands("reset_reached") == []
    record(reel, "close", T0 + 3 * HOUR + 10 * MIN, **heat)
    alarm_rules.evaluate(T0 + 3 * HOUR + 11 * MIN)
    assert stands("reset_reached") == []
    alarm_rules.evaluate(T0 + 5 * HOUR)
    assert [alarm.carrier for alarm in stands("reset_reached")] == [reel], "its second reset"


def test_a_cabinet_that_fails_says_what_to_move_first(place: dict[str, str]) -> None:
    """The level with the tighter limit first, then by floor life left; three are named."""
    cabinet = place["Cabinet"]
    send(cabinet, T0, T0 + 4 * HOUR, 24, 3, step=10 * MIN)
    reels = {
        "level 4": open_reel(place["Bench"], T0, part="BL-0400"),
        "short": open_reel(place["Bench"], T0, label_floor_life_hours=24),
        "long": open_reel(place["Bench"], T0),
        "longest": open_reel(place["Bench"], T0 + HOUR),
    }
    for reel in reels.values():
        record(reel, "move", T0 + 2 * HOUR, place=cabinet)
    send(cabinet, T0 + 4 * HOUR + MIN, T0 + 4 * HOUR + 20 * MIN, 24, 30)
    alarm_rules.evaluate(T0 + 4 * HOUR + 20 * MIN)
    (alarm,) = stands("air_beyond_limits")
    named = [reels[name] for name in ("level 4", "short", "long")]
    assert f"Move first: {', '.join(named)} and 1 more." in alarm.message


def test_the_present_and_the_past_give_the_same_causes(place: dict[str, str]) -> None:
    """Standings only spare folding: without them the same alarms are raised."""
    send(place["Cabinet"], T0, T0 + 8 * HOUR, 24, 3, step=20 * MIN)
    reel = open_reel(place["Bench"])
    record(reel, "move", T0 + HOUR, place=place["Cabinet"])
    old = receive(place["Bench"], shelf_life_ends=TODAY).code
    alarm_rules.evaluate(T0 + 7 * HOUR)
    found = {(alarm.kind, alarm.carrier) for alarm in stands()}
    assert found >= {("reset_reached", reel), ("shelf_life_low", old)}
    with write():
        # In a transaction that begins before the standings are built anew nothing may be kept.
        policies.set_policy("credit", True, T0 + 7 * HOUR, "Ines", "touches everything")
        assert alarm_rules.evaluate(T0 + 7 * HOUR) == 0
    assert {(alarm.kind, alarm.carrier) for alarm in stands()} == found
