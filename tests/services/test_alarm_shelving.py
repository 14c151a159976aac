"""Alarms are shelved by name, with a reason, for a time; then they come back by themselves.

Source: the states of ISA-18.2 / IEC 62682 (from memory).
"""

from __future__ import annotations

from datetime import date

import pytest

from msdtrack.errors import BadInput, NotFound, Refused
from msdtrack.services import alarm_rules, people, policies
from msdtrack.store.records import AlarmRecord
from tests.services.alarm_floor import DAY, HOUR, MIN, T0, open_reel, record, send, stands
from tests.services.conftest import NOW, receive


@pytest.fixture
def alarm(shop: dict[str, str]) -> AlarmRecord:
    """The alarm of a sensor that is silent, at T0 + 2 h."""
    send(shop["Bench"], T0, T0, 24, 45)
    alarm_rules.evaluate(T0 + 2 * HOUR)
    (found,) = alarm_rules.active_alarms()
    return found


def shelve(alarm: AlarmRecord, hours: float = 1, reason: str = "sensor at repair") -> AlarmRecord:
    """Shelve it at T0 + 2 h."""
    at = T0 + 2 * HOUR
    return alarm_rules.shelve(alarm.id, "Ines", reason, at + round(hours * HOUR), at)


def done(alarm: AlarmRecord) -> list[str]:
    """What was done with an alarm."""
    return [step.step for step in alarm_rules.alarm_steps([alarm])[alarm.id]]


def test_a_shelved_alarm_rests_and_comes_back(alarm: AlarmRecord) -> None:
    """It is off the list until its time is over; then it is unacknowledged again."""
    alarm_rules.acknowledge(alarm.id, "Ines", T0 + 2 * HOUR)
    shelved = shelve(alarm)
    assert (shelved.state, shelved.shelved_reason) == ("shelved", "sensor at repair")
    assert alarm_rules.active_alarms() == []
    assert alarm_rules.shelved_alarms() == [shelved]
    assert alarm_rules.evaluate(T0 + 3 * HOUR - 1) == 0
    assert alarm_rules.evaluate(T0 + 3 * HOUR) == 1
    (back,) = alarm_rules.active_alarms()
    assert (back.id, back.state, back.shelved_until) == (alarm.id, "unacknowledged", None)
    steps = alarm_rules.alarm_steps([back])[back.id]
    assert [(step.step, step.person) for step in steps] == [
        ("acknowledged", shelved.shelved_by),
        ("shelved", shelved.shelved_by),
        ("came_back", None),
    ]
    assert (steps[1].reason, steps[1].until) == ("sensor at repair", T0 + 3 * HOUR)


def test_a_cause_that_comes_and_goes_on_the_shelf_says_nothing(
    alarm: AlarmRecord, shop: dict[str, str]
) -> None:
    """No new alarm; gone at the end of its time, it has ended."""
    shelve(alarm, hours=5)
    send(shop["Bench"], T0 + 3 * HOUR, T0 + 3 * HOUR, 24, 45)
    alarm_rules.evaluate(T0 + 3 * HOUR)
    alarm_rules.evaluate(T0 + 5 * HOUR)
    assert alarm_rules.active_alarms() == []
    (resting,) = alarm_rules.shelved_alarms()
    assert (resting.id, resting.times, resting.state) == (alarm.id, 2, "shelved")
    send(shop["Bench"], T0 + 6 * HOUR, T0 + 7 * HOUR, 24, 45)
    alarm_rules.evaluate(T0 + 6 * HOUR)
    assert alarm_rules.shelved_alarms()
    alarm_rules.evaluate(T0 + 7 * HOUR)
    assert alarm_rules.shelved_alarms() == alarm_rules.active_alarms() == []
    (ended,) = alarm_rules.alarm_history()
    assert (ended.state, ended.ended_at) == ("ended", T0 + 7 * HOUR)


def test_it_can_be_taken_off_before_its_time(alarm: AlarmRecord) -> None:
    """By name; twice is refused."""
    shelve(alarm, hours=8)
    back = alarm_rules.unshelve(alarm.id, "Olu", T0 + 3 * HOUR)
    assert back.state == "unacknowledged"
    with pytest.raises(Refused):
        alarm_rules.unshelve(alarm.id, "Olu", T0 + 3 * HOUR)
    assert done(back) == ["shelved", "unshelved"]


@pytest.mark.parametrize(
    ("person", "reason", "hours", "field"),
    [
        ("Ines", " ", 1, "reason"),
        ("Ines", "x", 0, "until"),
        ("Ines", "x", 8.01, "until"),
        (" ", "x", 1, "person"),
    ],
)
def test_what_is_no_shelving_is_said(
    alarm: AlarmRecord, person: str, reason: str, hours: float, field: str
) -> None:
    """A name, a reason, a time within the site's limit; the alarm stays where it is."""
    at = T0 + 2 * HOUR
    with pytest.raises(BadInput) as error:
        alarm_rules.shelve(alarm.id, person, reason, at + round(hours * HOUR), at)
    assert [finding.field for finding in error.value.errors] == [field]
    assert alarm_rules.active_alarms() == [alarm]


def test_the_site_says_how_long_at_most(alarm: AlarmRecord) -> None:
    """24 h are the most it can say."""
    policies.set_policy("shelve_most_h", 24, T0, "Ines", "repairs take a day")
    assert shelve(alarm, hours=24).shelved_until == T0 + 26 * HOUR
    with pytest.raises(BadInput):
        policies.set_policy("shelve_most_h", 25, T0, "Ines", "more")


def test_what_can_not_be_shelved_is_refused(alarm: AlarmRecord, shop: dict[str, str]) -> None:
    """Shelved already, ended, not there; a shelved one is not acknowledged."""
    shelve(alarm)
    with pytest.raises(Refused):
        shelve(alarm, hours=2)
    with pytest.raises(Refused):
        alarm_rules.acknowledge(alarm.id, "Olu", T0 + 2 * HOUR)
    send(shop["Bench"], T0 + 3 * HOUR, T0 + 3 * HOUR, 24, 45)
    alarm_rules.evaluate(T0 + 3 * HOUR)
    with pytest.raises(Refused, match="has ended"):
        shelve(alarm)
    with pytest.raises(NotFound):
        alarm_rules.shelve(9999, "Ines", "x", T0 + HOUR, T0)


def test_shelving_hides_no_verdict(shop: dict[str, str]) -> None:
    """The alarm rests; the carrier is refused as before."""
    reel = open_reel(shop["Bench"], T0 - 7 * DAY)
    alarm_rules.evaluate(T0 + HOUR)
    (alarm,) = stands("floor_life_expired")
    alarm_rules.shelve(alarm.id, "Ines", "baked tonight", T0 + 2 * HOUR, T0 + HOUR)
    assert stands("floor_life_expired") == []
    record(reel, "move", T0 + HOUR + MIN, place=shop["Cabinet"])
    assert alarm_rules.shelved_alarms()[0].carrier == reel


def test_an_alarm_that_stands_for_a_day_is_stale(alarm: AlarmRecord, shop: dict[str, str]) -> None:
    """24 h from when its cause last came; not while it is shelved or normal.

    Source: ISA-18.2 / IEC 62682, stale alarms (from memory).
    """
    assert not alarm_rules.is_stale(alarm, T0 + 26 * HOUR - 1)
    assert alarm_rules.is_stale(alarm, T0 + 26 * HOUR)
    assert not alarm_rules.is_stale(shelve(alarm), T0 + 26 * HOUR)
    back = alarm_rules.unshelve(alarm.id, "Ines", T0 + 2 * HOUR)
    send(shop["Bench"], T0 + 3 * HOUR, T0 + 3 * HOUR, 24, 45)
    alarm_rules.evaluate(T0 + 3 * HOUR)
    (normal,) = alarm_rules.active_alarms()
    assert (normal.id, alarm_rules.is_stale(normal, T0 + 3 * DAY)) == (back.id, False)
    alarm_rules.evaluate(T0 + 5 * HOUR)
    (again,) = alarm_rules.active_alarms()
    assert not alarm_rules.is_stale(again, T0 + 29 * HOUR - 1)
    assert alarm_rules.is_stale(again, T0 + 29 * HOUR)


def test_more_than_ten_alarms_in_ten_minutes_are_a_flood(shop: dict[str, str]) -> None:
    """The eleventh makes it one, for ten minutes.

    Source: ISA-18.2 / IEC 62682, alarm floods (from memory).
    """
    people.add_person("Ines", NOW)
    for _ in range(10):
        receive(shop["Bench"], shelf_life_ends=date(2026, 9, 21))
    alarm_rules.evaluate(NOW)
    assert alarm_rules.flood(NOW) == 0
    receive(shop["Bench"], shelf_life_ends=date(2026, 9, 21))
    alarm_rules.evaluate(NOW + 30)
    assert alarm_rules.flood(NOW + 30) == 11
    assert alarm_rules.flood(NOW + 601) == 0
