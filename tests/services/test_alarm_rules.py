"""Alarms come in time, once for each cause, and return to normal when the cause is gone."""

from __future__ import annotations

import pytest

from msdtrack.errors import BadInput, NotFound, Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.services import alarm_rules, catalog, climate, people, policies
from msdtrack.services.climate import NewReading
from msdtrack.store import carriers
from msdtrack.store.connection import opened, version
from tests.services.alarm_floor import HOUR, MIN, T0, open_reel, record, send, stands
from tests.services.conftest import NOW, receive


@pytest.fixture
def place(shop: dict[str, str]) -> dict[str, str]:
    """The shop with a line and a second part of level 4."""
    catalog.create_part(PartFacts("BL-0400", "4", body_mm=1.4, carrier_max_c=125), NOW)
    line, _ = catalog.create_place(catalog.NewPlace(name="Line", kind="line"), NOW)
    return shop | {"Line": line.code}


def test_floor_life_that_runs_out_is_announced_then_expired(place: dict[str, str]) -> None:
    """Level 3 at 26 °C / 50 % RH: 168 h, announced 12 h before; then the first returns to normal
    and the second is raised; a bake that reached its hours ends it."""
    send(place["Bench"], T0, T0 + 170 * HOUR, 26, 50, step=30 * MIN)
    reel = open_reel(place["Bench"])
    policies.set_policy("open_bag_lead_min", 0, T0, "Ines", "not the matter here")
    record(reel, "move", T0 + 30 * MIN, place=place["Line"])
    record(reel, "move", T0 + 31 * MIN, place=place["Bench"])
    alarm_rules.evaluate(T0 + 156 * HOUR - 10 * MIN)
    assert stands("floor_life_low") == []
    alarm_rules.evaluate(T0 + 156 * HOUR)
    (low,) = stands("floor_life_low")
    assert (low.cause, low.carrier, low.priority) == (f"floor_life_low:{reel}", reel, "medium")
    assert "within 12 h" in low.message
    alarm_rules.evaluate(T0 + 168 * HOUR)
    assert stands("floor_life_low") == []
    (expired,) = stands("floor_life_expired")
    assert (expired.cause, expired.priority) == (f"floor_life_expired:{reel}", "high")
    assert "bake" in expired.message
    assert alarm_rules.active_alarms()[0] == expired
    states = {alarm.cause: alarm.state for alarm in alarm_rules.active_alarms()}
    assert states[low.cause] == "returned_to_normal"
    record(reel, "bake_start", T0 + 169 * HOUR, place=place["Oven"], temp_c=40)
    alarm_rules.evaluate(T0 + 169 * HOUR)
    assert stands("floor_life_expired") == []


def test_looking_again_changes_nothing(place: dict[str, str]) -> None:
    """The same moment or the next one: no alarm more, and no screen has to be drawn anew."""
    open_reel(place["Bench"])
    assert alarm_rules.evaluate(NOW) > 0
    before, seen = alarm_rules.alarm_history(), version()
    assert alarm_rules.evaluate(NOW) == 0
    assert alarm_rules.evaluate(NOW + 30) == 0
    assert alarm_rules.alarm_history() == before
    assert version() == seen


@pytest.mark.parametrize(
    ("facts", "own_h", "lead_h"),
    [
        ({}, None, 12),
        ({}, 40, 40),
        ({"label_floor_life_hours": 10}, None, 5),
        ({"msl": "4"}, None, 8),
    ],
)
def test_the_lead_time_goes_by_level_and_part(
    place: dict[str, str], facts: dict[str, object], own_h: float | None, lead_h: float
) -> None:
    """A level's lead time is at most half of a shorter floor life on the label."""
    if own_h is not None:
        policies.set_policy("lead_h:part:BL-0101", own_h, T0, "Ines", "slow line")
    reel = open_reel(place["Line"], **facts)
    label_h = {"4": 72}.get(str(facts.get("msl")), facts.get("label_floor_life_hours", 168))
    at = T0 + round((float(label_h) - lead_h) * HOUR)  # type: ignore[arg-type]
    alarm_rules.evaluate(at - 1)
    assert stands("floor_life_low") == []
    alarm_rules.evaluate(at)
    assert [alarm.carrier for alarm in stands("floor_life_low")] == [reel]


def test_an_announcement_does_not_come_and_go_with_the_air(place: dict[str, str]) -> None:
    """Once raised it stays until clearly more than the lead time is left, here by a reset."""
    reel = open_reel(place["Line"])
    alarm_rules.evaluate(T0 + 156 * HOUR)
    policies.set_policy("lead_h:msl:3", 11.5, T0 + 156 * HOUR, "Ines", "as if the air had changed")
    alarm_rules.evaluate(T0 + 156 * HOUR + 1)
    assert [alarm.carrier for alarm in stands("floor_life_low")] == [reel]
    policies.set_policy("lead_h:msl:3", 10, T0 + 156 * HOUR + 2, "Ines", "clearly less")
    alarm_rules.evaluate(T0 + 156 * HOUR + 2)
    assert stands("floor_life_low") == []


def test_dry_storage_that_stops_the_clock_stops_the_announcement(place: dict[str, str]) -> None:
    """Level 3 pauses in dry storage, level 4 does not; one that dries in time needs no alarm."""
    send(place["Cabinet"], T0, T0 + 66 * HOUR, 25, 3, step=30 * MIN)
    paused = open_reel(place["Line"], T0 - 96 * HOUR)
    runs = open_reel(place["Line"], part="BL-0400")
    dries = open_reel(place["Line"], T0 + 62 * HOUR, part="BL-0400", label_floor_life_hours=10)
    for reel, at in (
        (paused, T0 + 62 * HOUR),
        (runs, T0 + 30 * HOUR),
        (dries, T0 + 62 * HOUR + 600),
    ):
        record(reel, "move", at, place=place["Cabinet"])
    alarm_rules.evaluate(T0 + 65 * HOUR)
    assert [alarm.carrier for alarm in stands("floor_life_low")] == [runs]


def test_an_opened_bag_is_to_be_closed_within_the_hour(place: dict[str, str]) -> None:
    """10 minutes before 60: close it now. After that: no quick check any more. The same alarm."""
    reel = open_reel(place["Bench"])
    at_line = open_reel(place["Line"])
    alarm_rules.evaluate(T0 + 50 * MIN - 1)
    assert stands("bag_open_too_long") == []
    alarm_rules.evaluate(T0 + 50 * MIN)
    (alarm,) = stands("bag_open_too_long")
    assert alarm.carrier == reel != at_line
    assert "close it now" in alarm.message
    assert alarm_rules.evaluate(T0 + 60 * MIN) == 0
    (later,) = stands("bag_open_too_long")
    assert (later.id, later.times) == (alarm.id, 1)
    assert "no quick check" in later.message
    assert "or load it" in later.message


def test_an_opened_bag_on_hold_is_not_to_be_loaded(place: dict[str, str]) -> None:
    """How long it is open is no less than told, and nobody is sent to the line with it."""
    reel = open_reel(place["Bench"])
    record(reel, "hold", T0 + MIN, reason="dented")
    for minutes, words in ((58, "open for 50 min or more"), (61, "open for more than 60 min")):
        alarm_rules.evaluate(T0 + minutes * MIN)
        (alarm,) = stands("bag_open_too_long")
        assert words in alarm.message
        assert "load" not in alarm.message


def test_what_is_on_hold_is_not_announced_for_use(place: dict[str, str]) -> None:
    """Its floor life runs out all the same: it is to be dried, not used first, until released."""
    reel = open_reel(place["Line"], T0)
    at = T0 + 167 * HOUR
    record(reel, "hold", at - MIN, reason="dented")
    alarm_rules.evaluate(at)
    (held,) = stands("floor_life_low")
    assert held.message.endswith("do not use it as it is, dry it in time.")
    record(reel, "release", at + MIN, reason="looked at")
    alarm_rules.evaluate(at + 2 * MIN)
    (free,) = stands("floor_life_low")
    assert free.id == held.id
    assert free.message.endswith("use it first, or dry it in time.")


@pytest.mark.parametrize("what", ["close", "line", "cabinet", "scrap"])
def test_an_opened_bag_that_is_seen_to_is_normal(place: dict[str, str], what: str) -> None:
    """Closed, loaded, in dry storage or gone."""
    send(place["Cabinet"], T0, T0 + 2 * HOUR, 25, 3)
    reel = open_reel(place["Bench"])
    alarm_rules.evaluate(T0 + 55 * MIN)
    assert stands("bag_open_too_long")
    at = T0 + 58 * MIN
    if what == "close":
        record(reel, "close", at, desiccant="fresh", new_hic="fresh", seal="heat")
    elif what == "line":
        record(reel, "load", at, place=place["Line"])
    elif what == "cabinet":
        record(reel, "move", at, place=place["Cabinet"])
    else:
        record(reel, "scrap", at, person="Ines")
    alarm_rules.evaluate(T0 + 59 * MIN)
    assert stands("bag_open_too_long") == []


def test_air_beyond_its_limits_is_an_alarm_after_a_while(place: dict[str, str]) -> None:
    """On after 5 minutes, off after 10 minutes well within, held while the sensor is silent."""
    line = place["Line"]
    send(line, T0, T0 + 10 * MIN, 29, 60)
    send(line, T0 + 11 * MIN, T0 + 15 * MIN, 30.01, 40)
    alarm_rules.evaluate(T0 + 15 * MIN)
    assert stands("air_beyond_limits") == []
    alarm_rules.evaluate(T0 + 16 * MIN)
    (alarm,) = stands("air_beyond_limits")
    assert (alarm.cause, alarm.place) == (f"air_beyond_limits:{line}", line)
    send(line, T0 + 16 * MIN, T0 + 40 * MIN, 29.9, 59)
    alarm_rules.evaluate(T0 + 40 * MIN)
    assert stands("air_beyond_limits"), "within, but not by the deadband"
    send(line, T0 + 41 * MIN, T0 + 50 * MIN, 29.5, 59)
    alarm_rules.evaluate(T0 + 50 * MIN)
    assert stands("air_beyond_limits"), "not for long enough"
    alarm_rules.evaluate(T0 + 81 * MIN)
    assert stands("air_beyond_limits"), "nobody knows what the air is now"
    send(line, T0 + 82 * MIN, T0 + 92 * MIN, 29.5, 59)
    alarm_rules.evaluate(T0 + 92 * MIN)
    assert stands("air_beyond_limits") == []


def test_a_short_peak_is_no_alarm(place: dict[str, str]) -> None:
    """A run is broken by one reading within the limits."""
    send(place["Bench"], T0, T0 + 4 * MIN, 24, 61)
    send(place["Bench"], T0 + 5 * MIN, T0 + 5 * MIN, 24, 60)
    send(place["Bench"], T0 + 6 * MIN, T0 + 9 * MIN, 24, 61)
    alarm_rules.evaluate(T0 + 9 * MIN)
    assert stands("air_beyond_limits") == []


def test_a_cabinet_keeps_what_lies_open_in_it(place: dict[str, str]) -> None:
    """10 % RH, or 5 % as soon as a level 4 part lies in it; a door opening is no alarm."""
    cabinet = place["Cabinet"]
    send(cabinet, T0, T0 + 60 * MIN, 24, 7)
    alarm_rules.evaluate(T0 + 60 * MIN)
    assert stands("air_beyond_limits") == []
    send(cabinet, T0 + 61 * MIN, T0 + 70 * MIN, 24, 40)
    alarm_rules.evaluate(T0 + 70 * MIN)
    assert stands("air_beyond_limits") == []
    send(cabinet, T0 + 71 * MIN, T0 + 100 * MIN, 24, 7)
    reel = open_reel(place["Bench"], T0 + 70 * MIN, part="BL-0400")
    record(reel, "move", T0 + 80 * MIN, place=cabinet)
    alarm_rules.evaluate(T0 + 100 * MIN)
    (alarm,) = stands("air_beyond_limits")
    assert "above 5 % RH" in alarm.message
    send(cabinet, T0 + 101 * MIN, T0 + 111 * MIN, 24, 4.5)
    alarm_rules.evaluate(T0 + 111 * MIN)
    assert stands("air_beyond_limits") == []


def test_missing_readings_are_an_alarm_where_they_matter(place: dict[str, str]) -> None:
    """Where there ever were any, or where exposed carriers are; an oven while it bakes."""
    send(place["Line"], T0, T0, 24, 45)
    climate.add_readings([NewReading(place["Oven"], T0, 24, None)], T0)
    alarm_rules.evaluate(T0 + 60 * MIN)
    assert stands() == []
    alarm_rules.evaluate(T0 + 60 * MIN + 1)
    assert [alarm.place for alarm in stands("readings_missing")] == [place["Line"]]
    open_reel(place["Bench"], T0 + 60 * MIN)
    alarm_rules.evaluate(T0 + 61 * MIN)
    missing = {alarm.place: alarm for alarm in stands("readings_missing")}
    assert missing.keys() == {place["Line"], place["Bench"]}
    assert "30 °C / 60 % RH" in missing[place["Bench"]].message
    assert missing[place["Bench"]].priority == "low"
    tray = open_reel(place["Bench"], T0, part="BL-0400", kind="tray")
    record(tray, "bake_start", T0 + 62 * MIN, place=place["Oven"], temp_c=125)
    send(place["Line"], T0 + 62 * MIN, T0 + 62 * MIN, 24, 45)
    alarm_rules.evaluate(T0 + 62 * MIN)
    assert {alarm.place for alarm in stands("readings_missing")} == {place["Bench"], place["Oven"]}


def test_an_alarm_goes_through_its_states(place: dict[str, str]) -> None:
    """Unacknowledged, acknowledged, ended; or returned to normal first and then acknowledged.

    Source: the states of ISA-18.2 / IEC 62682 (from memory).
    """
    line = place["Line"]
    send(line, T0, T0, 24, 45)
    alarm_rules.evaluate(T0 + 2 * HOUR)
    (alarm,) = alarm_rules.active_alarms()
    assert alarm.state == "unacknowledged"
    ines = people.add_person("Ines", NOW)
    assert alarm_rules.acknowledge(alarm.id, ines.code, T0 + 2 * HOUR).state == "acknowledged"
    assert alarm_rules.evaluate(T0 + 3 * HOUR) == 0
    send(line, T0 + 4 * HOUR, T0 + 4 * HOUR, 24, 45)
    assert alarm_rules.evaluate(T0 + 4 * HOUR) == 1
    assert alarm_rules.active_alarms() == []
    alarm_rules.evaluate(T0 + 6 * HOUR)
    (second,) = alarm_rules.active_alarms()
    assert second.id != alarm.id
    send(line, T0 + 6 * HOUR, T0 + 6 * HOUR, 24, 45)
    alarm_rules.evaluate(T0 + 6 * HOUR)
    (second,) = alarm_rules.active_alarms()
    assert second.state == "returned_to_normal"
    alarm_rules.evaluate(T0 + 8 * HOUR)
    (again,) = alarm_rules.active_alarms()
    assert (again.id, again.state, again.times) == (second.id, "unacknowledged", 2)
    send(line, T0 + 8 * HOUR, T0 + 8 * HOUR, 24, 45)
    alarm_rules.evaluate(T0 + 8 * HOUR)
    ended = alarm_rules.acknowledge(again.id, "Ines", T0 + 9 * HOUR)
    assert (ended.state, ended.acknowledged_by) == ("ended", ines.code)
    assert [one.id for one in alarm_rules.alarm_history()] == [again.id, alarm.id]
    assert [one.id for one in alarm_rules.alarm_history(after=again.id)] == [alarm.id]


def test_acknowledging_needs_somebody(place: dict[str, str]) -> None:
    """Twice by the same person is once; a second person learns who did it."""
    open_reel(place["Bench"])
    alarm_rules.evaluate(NOW)
    alarm = alarm_rules.active_alarms()[0]
    for nobody in ("", "  ", make_code(CodeKind.PERSON, 999)):
        with pytest.raises(BadInput) as error:
            alarm_rules.acknowledge(alarm.id, nobody, NOW)
        assert [finding.field for finding in error.value.errors] == ["person"]
    first = alarm_rules.acknowledge(alarm.id, "Ines", NOW)
    assert alarm_rules.acknowledge(alarm.id, "Ines", NOW + 5) == first
    with pytest.raises(Refused):
        alarm_rules.acknowledge(alarm.id, "Olu", NOW)
    with pytest.raises(NotFound):
        alarm_rules.acknowledge(9999, "Ines", NOW)


def test_a_clock_that_jumped_is_an_alarm_until_somebody_has_seen_it(place: dict[str, str]) -> None:
    """It returns to normal at the next look and stays until acknowledged."""
    assert alarm_rules.evaluate(NOW, clock_moved_s=-7200) == 1
    (alarm,) = stands("clock_jumped")
    assert "back by 2 h" in alarm.message
    alarm_rules.evaluate(NOW + 30)
    (alarm,) = alarm_rules.active_alarms()
    assert alarm.state == "returned_to_normal"


def test_a_quiet_shop_has_no_alarms(place: dict[str, str]) -> None:
    """Closed bags, level 1 parts and places without sensors are normal."""
    catalog.create_part(PartFacts("BL-0001", "1"), NOW)
    receive(place["Bench"])
    open_reel(place["Cabinet"], part="BL-0001")
    send(place["Cabinet"], NOW - 600, NOW, 24, 3)
    assert alarm_rules.evaluate(NOW) == 0


def test_no_query_is_made_for_each_carrier(
    place: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A look costs as many queries for ten carriers as for one."""
    queries: list[str] = []
    database = type(opened())
    execute = database.execute_sql

    def counted(self: object, sql: str, *arguments: object) -> object:
        queries.append(sql)
        return execute(self, sql, *arguments)

    def count() -> int:
        alarm_rules.evaluate(NOW)
        queries.clear()
        assert alarm_rules.evaluate(NOW) == 0
        return len(queries)

    monkeypatch.setattr(database, "execute_sql", counted)
    open_reel(place["Line"])
    for_one = count()
    for _ in range(9):
        open_reel(place["Line"])
    assert len(carriers.carrier_codes()) == 10
    assert count() == for_one > 0
