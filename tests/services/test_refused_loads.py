"""Whoever scans what must not be used for loading is refused, and an alarm says so."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from msdtrack.services import alarm_rules
from msdtrack.store.records import AlarmRecord
from tests.services.scan_floor import DAY_S, Floor, opened_floor, refused


@pytest.fixture
def floor(database_url: str) -> Iterator[Floor]:
    """A workshop on a fresh database of either kind."""
    yield from opened_floor(database_url)


def refused_loads() -> list[AlarmRecord]:
    """The alarms of refused loads that have not ended."""
    return [one for one in alarm_rules.active_alarms() if one.kind == "load_refused"]


def held(floor: Floor) -> str:
    """An open carrier that quality holds."""
    carrier = floor.carrier()
    floor.scans(floor.ana, carrier, "OPEN", "HICDRY", carrier, "HOLD")
    assert floor.state(carrier).ledger.held
    return carrier


def test_a_held_carrier_at_the_line_is_an_alarm(floor: Floor) -> None:
    """Refused, nothing loaded, one high alarm however often it is scanned; moving it away ends
    it."""
    carrier = held(floor)
    for _ in range(2):
        assert refused(floor.scans(floor.places["line"], carrier, "LOAD"))
        floor.scan("DONE")
    assert "load" not in floor.kinds(carrier)
    (alarm,) = refused_loads()
    assert (alarm.carrier, alarm.priority, alarm.times) == (carrier, "high", 1)
    assert "scanned at Bench" in alarm.message
    assert "Hold for quality" in alarm.message
    assert alarm_rules.evaluate(floor.now + 1) == 0 or refused_loads() == [alarm]
    floor.scans(carrier, floor.places["store"])
    floor.now += 30
    alarm_rules.evaluate(floor.now)
    (away,) = refused_loads()
    assert away.state == "returned_to_normal"


def test_moved_to_the_line_it_stays_an_alarm(floor: Floor) -> None:
    """After the refusal somebody scans the line: it hangs there more than ever."""
    carrier = held(floor)
    assert refused(floor.scans(carrier, "LOAD"))
    assert floor.scans("DONE", carrier, floor.places["line"]).tone == "stop"
    floor.now += 30
    alarm_rules.evaluate(floor.now)
    assert [alarm.returned_at for alarm in refused_loads()] == [None]
    floor.scans(carrier, floor.places["store"])
    floor.now += 30
    alarm_rules.evaluate(floor.now)
    assert [alarm.state for alarm in refused_loads()] == ["returned_to_normal"]


def test_what_ran_out_is_an_alarm_and_what_may_be_used_is_none(floor: Floor) -> None:
    """In a closed bag it is only refused; a day later the alarm is normal by itself."""
    closed, fresh, old = (floor.carrier() for _ in range(3))
    floor.scans(old, "OPEN", "HICDRY")
    floor.now += 8 * DAY_S
    floor.scans(fresh, "OPEN", "HICDRY")
    assert refused(floor.scans(closed, "LOAD"))
    assert refused_loads() == []
    assert not refused(floor.scans(fresh, "LOAD", floor.places["line"]))
    assert refused(floor.scans(old, "LOAD"))
    assert [alarm.carrier for alarm in refused_loads()] == [old]
    floor.now += DAY_S - 60
    alarm_rules.evaluate(floor.now)
    assert [alarm.returned_at for alarm in refused_loads()] == [None]
    alarm_rules.evaluate(floor.now + 60)
    assert [alarm.state for alarm in refused_loads()] == ["returned_to_normal"]


def test_a_held_carrier_in_its_bag_is_an_alarm_too(floor: Floor) -> None:
    """The station names the bag first; the hold still counts, also in a series of loads."""
    carrier = floor.carrier()
    floor.scans(floor.ana, carrier, "HOLD")
    for code in ("LOAD", floor.places["line"]):
        floor.scan(code, station="Line A")
    assert refused(floor.scan(carrier, station="Line A"))
    assert [alarm.carrier for alarm in refused_loads()] == [carrier]


def test_other_refusals_are_no_alarm(floor: Floor) -> None:
    """Closing what is held and closed already is a slip, not a load."""
    carrier = floor.carrier()
    floor.scans(floor.ana, carrier, "HOLD")
    assert refused(floor.scans(carrier, "CLOSEHEAT"))
    assert refused_loads() == []
