"""Somebody tried to load at the line what must not be used: an alarm, for the reel may hang there.

Raised by the scan itself. It stands until the carrier may be used, is scanned somewhere else, or a
day has passed; brought to a line it is as wrong as before.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.state import CarrierState
from msdtrack.services.alarm_causes import LOAD_REFUSED, Cause, named, of_carrier
from msdtrack.services.carrier_states import states
from msdtrack.services.glance import glance_of
from msdtrack.store import alarms, event_log, places
from msdtrack.store.connection import write
from msdtrack.store.records import AlarmRecord

STANDS_S = 24 * 3600

_ON_PAPER = (Kind.HOLD, Kind.RELEASE, Kind.CORRECT)
"""What is recorded without anybody having the carrier in hand."""


def _is_elsewhere(event: Event) -> bool:
    """Return whether an event says that a carrier was in somebody's hand away from the lines."""
    to_a_line = event.place is not None and places.place(event.place).kind == "line"
    return event.kind not in _ON_PAPER and not to_a_line


def report(state: CarrierState, station: str, why: str, at: int) -> None:
    """Raise the alarm, unless it stands.

    Args:
        state: the carrier as it is.
        station: where it was scanned.
        why: why it must not be used, in a sentence.
        at: when.
    """
    seen = glance_of(state)
    text = (
        f"Refused at the line: {named(seen)}, scanned at {station}. {why} See that it is not "
        "mounted, and put it apart."
    )
    cause = of_carrier(LOAD_REFUSED, "high", text, seen)
    with write():
        alarms.raise_alarm(
            cause.key,
            cause.kind,
            cause.priority,
            cause.message,
            at,
            carrier=cause.carrier,
            place=cause.place,
        )


def standing_causes(active: Collection[AlarmRecord], now: int) -> Iterator[Cause]:
    """Yield the causes of alarms that were raised and stand on.

    Args:
        active: the alarms that have not ended.
        now: the present moment.
    """
    raised = {
        alarm.carrier: alarm
        for alarm in active
        if alarm.kind == LOAD_REFUSED and alarm.carrier is not None and alarm.returned_at is None
    }
    if not raised:
        return
    logs = event_log.logs(raised)
    for code, state in states(raised, now).items():
        alarm = raised[code]
        scanned_since = any(
            event.recorded_at > alarm.active_since and _is_elsewhere(event) for event in logs[code]
        )
        stands = state.verdict == "do_not_use" and state.status != "gone" and not scanned_since
        if stands and now - alarm.active_since < STANDS_S:
            yield Cause(alarm.cause, alarm.kind, "high", alarm.message, code, alarm.place)
