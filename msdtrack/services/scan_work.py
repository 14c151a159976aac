"""One scan at work: what it puts on the log, and nothing that contradicts the log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from msdtrack.exposure.events import Kind
from msdtrack.services.at_hand import AtHand
from msdtrack.services.event_recording import NewEvent, Recorded, record
from msdtrack.services.scan_replies import Stop
from msdtrack.times import local_text


@dataclass(slots=True)
class Work:
    """One scan at work: who, where, when, and the events it has put on the log.

    Args:
        at: when it was scanned; `now` is when it was received.
        hand: the carriers as they are by the log.
        takes_back: id of the scan that this one undoes.
    """

    scan_id: str
    station: str
    person: str | None
    at: int
    now: int
    tz: tzinfo
    hand: AtHand = field(init=False)
    events: list[str] = field(default_factory=list)
    takes_back: str | None = None

    def __post_init__(self) -> None:
        """Begin with nothing read."""
        self.hand = AtHand(self.now)

    def event(self, carrier: str, kind: Kind, **given: Any) -> NewEvent:
        """Return an event of this scan, not yet on the log.

        A correction is always signed: without a badge, by the station.
        """
        id_ = str(uuid5(NAMESPACE_OID, f"scan {self.scan_id} {len(self.events)}"))
        self.events.append(id_)
        given = {"at": self.at, **given}
        return NewEvent(id_, carrier, kind, person=self.person, station=self.station, **given)

    def put(self, events: Sequence[NewEvent]) -> list[Recorded]:
        """Put events on the log, unless the log would contradict itself then, and return what
        became of them.

        Raises:
            Stop: an event contradicts what is on the log.
        """
        codes = {event.carrier for event in events}
        known = {one.event_id for code in codes for one in self.hand.conflicts(code)}
        done = record(events, self.now, self.hand)
        for recorded in done:
            for conflict in recorded.state.conflicts:
                if conflict.event_id not in known:
                    raise Stop(
                        "Not possible",
                        f"The log of {recorded.carrier} says otherwise: {conflict.message}.",
                        "Look at the carrier's page and correct what is wrong.",
                        recorded.carrier,
                    )
        return done

    def local(self, moment: int) -> str:
        """Return a moment in the reader's time."""
        return local_text(moment, self.tz)
