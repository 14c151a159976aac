"""What the tests of the alarms do: record, open, send air, and see what stands."""

from __future__ import annotations

from uuid import uuid4

from msdtrack.services import alarm_rules, climate, event_recording
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.store.records import AlarmRecord
from tests.services.conftest import NOW, receive

MIN, HOUR, DAY = 60, 3600, 86400
DRY = {"5": "dry", "10": "dry", "60": "dry"}
T0 = NOW - DAY
"""When bags are opened in these tests."""


def record(carrier: str, kind: str, at: int, **what: object) -> None:
    """Record an event at its own time."""
    new = NewEvent(str(uuid4()), carrier, kind, at, **what)  # type: ignore[arg-type]
    event_recording.record([new], at)


def open_reel(place: str, at: int = T0, **facts: object) -> str:
    """Receive a reel and open it."""
    code = receive(place, **facts).code
    record(code, "open", at, hic=DRY)
    return code


def send(place: str, start: int, end: int, temp_c: float, rh_pct: float, step: int = MIN) -> None:
    """Send steady air from start to end, both included."""
    rows = [NewReading(place, at, temp_c, rh_pct) for at in range(start, end + 1, step)]
    assert climate.add_readings(rows, end).refused == []


def stands(kind: str | None = None) -> list[AlarmRecord]:
    """Active alarms, of one kind or all."""
    return [
        alarm
        for alarm in alarm_rules.active_alarms()
        if alarm.returned_at is None and kind in (None, alarm.kind)
    ]
