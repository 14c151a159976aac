"""What the tests of the boards do: open, place, and let things happen to a batch."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from msdtrack.services import boards, climate, event_recording
from msdtrack.services.board_states import BatchState
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from tests.services.conftest import NOW, receive

HOUR = 3600
DRY = {"5": "dry", "10": "dry", "60": "dry"}
FIX: dict[str, Any] = {"person": "Ines", "reason": "slip of the pen"}


def event(carrier: str, kind: str, hours_ago: float = 0, **what: object) -> NewEvent:
    """Return an event so many hours ago."""
    at = NOW - round(hours_ago * HOUR)
    return NewEvent(str(uuid4()), carrier, kind, at, **what)  # type: ignore[arg-type]


def opened(place: str, hours_ago: float, **given: object) -> str:
    """Receive a reel and open it."""
    reel = receive(place, **given).code
    event_recording.record([event(reel, "open", hours_ago, hic=DRY)], NOW)
    return reel


def placed(batch: str, carrier: str, hours_ago: float, quantity: int = 100, **what: object) -> str:
    """Place pieces of a carrier on a batch, and return the placement."""
    new = event(carrier, "place_on_board", hours_ago, quantity=quantity, board=batch, **what)
    (recorded,) = event_recording.record([new], NOW)
    assert recorded.child is not None
    return recorded.child


def happens(batch: str, kind: str, hours_ago: float = 0, **what: object) -> BatchState:
    """Let something happen to a batch, and return its state now."""
    return boards.record(batch, event("", kind, hours_ago, **what), NOW).state


def now(batch: str, hours_ago: float = 0) -> BatchState:
    """Return the state of a batch so many hours ago."""
    return boards.batch_state(batch, NOW, NOW - round(hours_ago * HOUR))


def readings(place: str, temp_c: float, rh_pct: float, since_h: float) -> None:
    """Send steady air of the last hours, every five minutes."""
    rows = [
        NewReading(place, at, temp_c, rh_pct)
        for at in range(NOW - round(since_h * HOUR), NOW + 1, 300)
    ]
    assert not climate.add_readings(rows, NOW).refused
