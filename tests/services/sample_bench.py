"""An inspector's bench for the tests of the sample checks: plan, scan, measure."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date
from decimal import Decimal
from uuid import uuid4

from msdtrack.exposure.facts import PartFacts
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import ACTIONS, make_action_code
from msdtrack.services import (
    carrier_states,
    catalog,
    event_recording,
    lot_holds,
    measurements,
    people,
    receiving,
    sample_checks,
    sample_decisions,
    sample_scans,
)
from msdtrack.services.catalog import NewPlace
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.lot_holds import LotNow
from msdtrack.services.receiving import NewCarrier
from msdtrack.services.sample_checks import NewCheck, SampleCheck
from msdtrack.services.sample_decisions import Saved
from msdtrack.services.sample_scans import CheckAnswer, CheckScan
from msdtrack.services.value_tables import PieceValues
from tests.services.conftest import NOW

MIN = 60
DRY = {"5": "dry", "10": "dry", "60": "dry"}
GOOD, BAD = ("0.1", "20"), ("1.8", "20")


@dataclass
class Bench:
    """An inspector's bench with a lot in three bags, and a clock that the test turns."""

    now: int = NOW
    bags: list[str] = field(default_factory=list)
    places: dict[str, str] = field(default_factory=dict)
    person: str = ""
    number: int = 0

    def receive(self, lot: str = "N5-1", quantity: int = 400, **more: object) -> str:
        given: dict[str, object] = {
            "sealed_on": date(2026, 6, 1),
            "received_at": NOW - 7 * 86_400,
            "place": self.places["Store"],
            "kind": "tray",
        }
        new = NewCarrier("PRES-3", lot, quantity, **(given | more))  # type: ignore[arg-type]
        return receiving.receive(new, self.now)[0].code

    def plan(self, lot: str = "N5-1", **more: object) -> int:
        """Plan a check of 5 pieces from 2 bags, 0 of which may fail."""
        given: dict[str, object] = {
            "sample_size": 5, "accept": 0, "bags": 2, "deviation": "agreed with the supplier",
        }  # fmt: skip
        new = NewCheck(
            "PRES-3",
            lot,
            "bare",
            1200,
            "II",
            "0.65",
            person=self.person,
            **(given | more),  # type: ignore[arg-type]
        )
        record, _ = sample_checks.create(new, self.now)
        self.number = record.number
        return record.number

    def scan(self, *codes: str, after_s: int = 5) -> CheckAnswer:
        """Scan codes, or actions by their names, one after the other; return the last answer."""
        for code in codes:
            self.now += after_s
            code = make_action_code(code) if code in ACTIONS else code
            new = CheckScan(str(uuid4()), self.number, code)
            answer = sample_scans.scan(new, self.now, self.person, UTC)
        return answer

    def take_all(self) -> list[str]:
        """Take the sample: 3 and 2 pieces from two bags, each closed again."""
        for bag, count in ((self.bags[0], "3"), (self.bags[1], "2")):
            self.scan(bag, "OPEN", "HICDRY", count, "CLOSEQUICK")
        return [one.code for one in self.check().pieces]

    def measure(self, *pieces: tuple[str, str], reason: str = "", first: int = 1) -> Saved:
        values = [
            PieceValues(str(n), (Decimal(offset), Decimal(gain)))
            for n, (offset, gain) in enumerate(pieces, start=first)
        ]
        return sample_decisions.save_values(self.number, values, self.person, self.now, reason)

    def check(self) -> SampleCheck:
        return sample_checks.check(self.number, self.now)

    def lot(self, name: str = "N5-1") -> LotNow:
        return lot_holds.lot_now("PRES-3", name, self.now)

    def state(self, code: str) -> CarrierState:
        return carrier_states.state(code, self.now)

    def held(self, *codes: str) -> list[str]:
        """Return which of the carriers are held."""
        return [code for code in codes if self.state(code).ledger.held]

    def record(self, carrier: str, kind: str, **what: object) -> event_recording.Recorded:
        new = NewEvent(str(uuid4()), carrier, kind, **what)  # type: ignore[arg-type]
        return event_recording.record([new], self.now)[0]


def new_bench() -> Bench:
    """Put a part with limits, places, an inspector and a lot in three bags on file."""
    bench = Bench()
    catalog.create_part(PartFacts("PRES-3", "3", body_mm=1.4), NOW)
    bench.person = people.add_person("Ines", NOW).code
    for name, kind in (("Store", "store"), ("Line", "line"), ("Oven", "oven"), ("Lab", "floor")):
        place, _ = catalog.create_place(NewPlace(name=name, kind=kind), NOW)
        bench.places[name] = place.code
    bench.bags = [bench.receive() for _ in range(3)]
    limits = "offset;-1.5;1.5;mV\ngain;19;21;mV/dbar"
    measurements.set_limits("PRES-3", "bare", limits, "Ines", "drawing 7", NOW)
    return bench
