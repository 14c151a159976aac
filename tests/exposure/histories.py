"""Builds small histories for the tests of the calculation: t = seconds after the opening."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import (
    HOUR_S,
    AirSettings,
    CarrierFacts,
    Dated,
    PartFacts,
    Policies,
)
from msdtrack.exposure.places import Places
from msdtrack.exposure.state import CarrierState, state_of
from msdtrack.exposure.working import Working, working_of

T0 = 1_790_000_000 - 1_790_000_000 % 86400
"""Midnight of an arbitrary day."""

DRY_HIC = {"5": "dry", "10": "dry", "60": "dry"}


def part(msl: str, body_mm: float | None = None, **facts: Any) -> PartFacts:
    """Return an invented part."""
    return PartFacts("BUOY-1", msl, body_mm=body_mm, **facts)


def carrier(of: PartFacts, **facts: Any) -> CarrierFacts:
    """Return a reel received a week before T0 in a dry bag."""
    given: dict[str, Any] = {
        "code": "C1",
        "lot": "L1",
        "kind": "reel",
        "quantity": 1000,
        "received_at": T0 - 7 * 24 * HOUR_S,
        "sealed_on": date(2026, 9, 1),
        "bag": "B1",
        "place": "floor",
    }
    return CarrierFacts(part=of, **(given | facts))


def steady(
    temp_c: float, rh_pct: float, hours: float, step_s: int = 300
) -> list[tuple[int, int, int]]:
    """Return readings of unchanging air from a day before T0 on."""
    air = (round(temp_c * 100), round(rh_pct * 100))
    return [(T0 + t, *air) for t in range(-24 * HOUR_S, int(hours * HOUR_S) + 1, step_s)]


@dataclass
class History:
    """A carrier, its events and the air, grown line by line."""

    facts: CarrierFacts
    readings: dict[str, Sequence[tuple[int, int, int]]] = field(default_factory=dict)
    settings: dict[str, AirSettings] = field(default_factory=dict)
    kinds: dict[str, str] = field(
        default_factory=lambda: {"floor": "floor", "cabinet": "cabinet", "oven": "oven"}
    )
    policies: Policies = field(default_factory=Policies)
    events: list[Event] = field(default_factory=list)

    def add(self, kind: str, hour: float, **what: Any) -> History:
        """Add an event `hour` hours after T0."""
        n = len(self.events) + 1
        if kind == "open":
            what.setdefault("hic", DRY_HIC)
        at = T0 + round(hour * HOUR_S)
        given = {"recorded_at": at} | what
        self.events.append(Event(f"e{n}", self.facts.code, Kind(kind), at, n, **given))
        return self

    @property
    def places(self) -> Places:
        """Return the air of its places."""
        airs = {
            code: PlaceAir(
                code,
                self.readings.get(code, ()),
                Dated(self.settings.get(code, AirSettings())),
            )
            for code in self.kinds
        }
        return Places(airs, self.kinds)

    def ordered(self) -> list[Event]:
        """Return the events in order."""
        return sorted(self.events, key=lambda event: (event.at, event.seq))

    def state(self, hour: float) -> CarrierState:
        """Return the state `hour` hours after T0."""
        at = T0 + round(hour * HOUR_S)
        return state_of(self.facts, self.ordered(), self.places, self.policies, at)

    def working(self, hour: float) -> Working:
        """Return the working `hour` hours after T0."""
        return working_of(self.state(hour), self.places)


def hours_of(moments: Iterable[int]) -> list[float]:
    """Return moments as hours after T0."""
    return [(moment - T0) / HOUR_S for moment in moments]
